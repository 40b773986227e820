"""What moved since the last run: worked out by hand on the fixture fleet, kept in the store, shown on its page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pytest

import fleet_fixture as fixture
from bobstay import store
from bobstay.changes import Run, keep_last, note, run_before, this_run
from bobstay.report import write_pages
from bobstay.settings import Settings, from_tree

FIRST = Run("2026-01-10", "0.1.0", {"a.csv": "1"}, {})


@pytest.fixture
def con() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect() as opened:
        fixture.build(opened)
        yield opened


def changes(con: duckdb.DuckDBPyConnection) -> list[dict[str, Any]]:
    return store.read(con, "changes").to_dict("records")


def place(con: duckdb.DuckDBPyConnection, offset: int) -> tuple[str, str, str]:
    """Return boat, fitting and life of one row of the priority list that stays as it is proposed."""
    sql = f"SELECT boat_id, fitting_id, life_id FROM priority ORDER BY boat_id, fitting_id LIMIT 1 OFFSET {offset}"
    row = con.execute(sql).fetchall()[0]
    return row[0], row[1], row[2]


def test_a_first_run_has_nothing_to_compare_with(con: duckdb.DuckDBPyConnection) -> None:
    keep_last(con, FIRST)
    note(con, FIRST)
    assert changes(con) == []
    assert run_before(con) is None


def test_each_change_is_found_with_its_own_reason(con: duckdb.DuckDBPyConnection) -> None:
    keep_last(con, FIRST)
    note(con, FIRST)
    chance, gone, looked, other = (place(con, n) for n in range(4))
    con.execute("UPDATE priority SET chance = 0.77 WHERE life_id = ?", [chance[2]])
    con.execute("DELETE FROM priority WHERE life_id = ?", [gone[2]])
    con.execute("UPDATE lives SET look_count = look_count + 1 WHERE life_id = ?", [looked[2]])
    con.execute("UPDATE priority SET life_id = 'another' WHERE life_id = ?", [other[2]])
    later = replace(FIRST, as_of="2026-06-01", files={"a.csv": "1", "b.csv": "2"})
    keep_last(con, later)
    note(con, later)
    found = {(r["boat_id"], r["fitting_id"]): r for r in changes(con)}
    assert {key: r["why"] for key, r in found.items()} == {
        chance[:2]: "time; records",
        gone[:2]: "gone",
        looked[:2]: "looks",
        other[:2]: "other_part",
    }
    assert found[chance[:2]]["chance_after"] == 0.77
    assert run_before(con) == FIRST


def test_a_place_that_shifts_because_others_did_is_no_change(con: duckdb.DuckDBPyConnection) -> None:
    keep_last(con, FIRST)
    note(con, FIRST)
    con.execute("UPDATE priority SET rank = rank + 1")
    con.execute("UPDATE priority SET chance = chance + 0.004 WHERE chance < 0.9")
    later = replace(FIRST, as_of="2026-06-01")
    keep_last(con, later)
    note(con, later)
    assert changes(con) == []


def test_the_same_run_again_is_compared_with_the_same_one(con: duckdb.DuckDBPyConnection) -> None:
    later = replace(FIRST, settings={"horizon_months": 6})
    for run in (FIRST, later, later):
        con.execute(
            "UPDATE priority SET chance = ? WHERE life_id = ?", [0.1 if run is FIRST else 0.9, place(con, 0)[2]]
        )
        keep_last(con, run)
        note(con, run)
    assert run_before(con) == FIRST
    assert [r["why"] for r in changes(con)] == ["settings"]


def test_the_language_of_the_pages_makes_no_other_run(con: duckdb.DuckDBPyConnection) -> None:
    day = date(2026, 1, 10)
    german = from_tree({"words": {"language": "de"}})
    assert this_run(con, german, day) == this_run(con, Settings(), day)
    assert this_run(con, from_tree({"horizon_months": 6}), day).settings == {"horizon_months": 6}


def test_the_page_says_what_is_different_and_what_moved(con: duckdb.DuckDBPyConnection, tmp_path: Path) -> None:
    settings = from_tree({"horizon_months": 6})
    note(con, FIRST)
    _, fitting, life = place(con, 0)
    con.execute("UPDATE priority SET chance = 0.77, action = 'leave' WHERE life_id = ?", [life])
    run = this_run(con, settings, fixture.AS_OF)
    keep_last(con, run)
    note(con, run)
    write_pages(con, tmp_path, settings=settings, as_of=fixture.AS_OF, say=lambda _: None)
    page = (tmp_path / "changes.html").read_text(encoding="utf-8")
    assert "Setting horizon_months: the default before, 6 now." in page
    assert "Gone: a.csv." in page
    assert f'<span class="fit">{fitting}</span>' in page
    assert "77 %" in page
