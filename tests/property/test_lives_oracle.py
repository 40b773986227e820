"""The lives of random small fleets, by SQL and by a plain reading of the rules, are the same row for row."""

from __future__ import annotations

import random
from datetime import date

import duckdb
import pytest

from bobstay.lives import build_lives
from bobstay.settings import Settings
from drawn_fleet import Row, filled, table
from lives_fleets import AS_OF, fleet_of_one
from lives_oracle import Cells, bounds, graded, known_of, parts_of

FLEETS = 300


def _slowly(tables: dict[str, list[Cells]], as_of: date) -> tuple[dict[str, Row], dict[int, tuple[object, ...]]]:
    lives: dict[str, Row] = {}
    looks: dict[int, tuple[object, ...]] = {}
    told = list(enumerate(tables["inspections"], start=2))
    for stated in tables["boats"]:
        own = [(line, row) for line, row in told if row["boat_id"] == stated["boat_id"]]
        firsts = [d for d in (bounds(row["inspected_on"])[0] for _, row in own) if d and d <= as_of]
        boat = {**stated, "records": stated.get("joined") or str(min(firsts, default=""))}
        events = [e for e in tables["events"] if e["boat_id"] == boat["boat_id"] and e["happened_on"] <= str(as_of)]
        for place in sorted({r["fitting_id"] for r in tables["fittings"] if r["boat_id"] == boat["boat_id"]}):
            rows = [r for r in tables["fittings"] if (r["boat_id"], r["fitting_id"]) == (boat["boat_id"], place)]
            seen = [graded(line, row, as_of) for line, row in own if row.get("fitting_id") == place]
            for n, part in enumerate(parts_of(boat, rows, [k for k in seen if k], as_of), start=1):
                life_id = f"{boat['boat_id']}/{place}/{n}"
                lives[life_id] = known_of(boat, part, events, as_of)
                looks |= {k.line: (life_id, k.day, k.shows, k.verdict, k.grade) for k in part.looks}
    return lives, looks


@pytest.mark.parametrize("as_of", [AS_OF, date(2012, 3, 5)])
def test_the_sql_and_the_slow_way_give_the_same_lives_and_looks(as_of: date) -> None:
    """300 fleets of one boat, seeds 0..299, at two as-of dates; the other side is tests/lives_oracle.py."""
    fleets = [fleet_of_one(random.Random(n), n) for n in range(FLEETS)]
    tables = {name: [row for fleet in fleets for row in fleet[name]] for name in fleets[0]}
    expected_lives, expected_looks = _slowly(tables, as_of)
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, **tables)
        build_lives(con, as_of=as_of, settings=Settings())
        lives = {row["life_id"]: row for row in table(con, "lives", "ALL")}
        looks = {row["line"]: row for row in table(con, "life_looks", "ALL")}
        orphans = {row["line"] for row in table(con, "orphan_looks", "ALL")}
    assert len(expected_lives) > 400 and len(expected_looks) > 500
    shown = {key: {k: lives[key][k] for k in row} for key, row in expected_lives.items() if key in lives}
    assert {k: v for k, v in shown.items() if v != expected_lives[k]} == {}
    assert set(lives) == set(expected_lives)
    heads = ("life_id", "look_on", "shows", "verdict", "grade")
    assert {line: tuple(row[h] for h in heads) for line, row in looks.items()} == expected_looks
    at_places = {
        line
        for line, row in enumerate(tables["inspections"], start=2)
        if "fitting_id" in row and (bounds(row["inspected_on"])[0] or AS_OF) <= as_of
        and any((r["boat_id"], r["fitting_id"]) == (row["boat_id"], row["fitting_id"]) for r in tables["fittings"])
    }  # fmt: skip
    assert orphans == at_places - set(expected_looks)
