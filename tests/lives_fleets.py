"""Random small fleets, one boat each, with what makes lives hard to tell: same days, rough days, parts without rows."""

from __future__ import annotations

import random
from datetime import date, timedelta

from lives_oracle import Cells

AS_OF = date(2020, 1, 1)
NEW = date(1998, 1, 1)
TYPES = ("chainplate", "mast tang")


def _day(rng: random.Random, first: int = 0, last: int = 8200) -> date:
    """Most days lie on or about a coarse grid, so that same days and days a month apart are common."""
    days = rng.randint(first, last)
    if rng.random() < 0.7:
        days = days // 180 * 180 + rng.choice((0, 0, 0, 5, 31, 32))
    return NEW + timedelta(days=days)


def _boat(rng: random.Random, name: str) -> Cells:
    boat = {"boat_id": name}
    if rng.random() < 0.8:
        boat["built"] = str(_day(rng, 0, 1500))
    if rng.random() < 0.7:
        boat["joined"] = str(_day(rng, 0, 4000))
    if rng.random() < 0.2:
        boat["left"] = str(_day(rng, 5000, 8200))
    return boat


def _fittings(rng: random.Random, boat: str, place: str) -> list[Cells]:
    starts = sorted({_day(rng, 1500, 7000) for _ in range(rng.choice((1, 1, 2, 3)))})
    rows = []
    for n, start in enumerate(starts):
        row = {"boat_id": boat, "fitting_id": place, "fitting_type": rng.choice(TYPES), "material": f"m{n}"}
        following = starts[n + 1] if n + 1 < len(starts) else AS_OF
        kind = rng.random()
        if kind < 0.7 or (n and kind > 0.85):
            row["installed"] = str(start)
        elif kind < 0.85 and following.year > start.year and (n == 0 or start.year > starts[n - 1].year):
            row["installed"] = str(start.year)  # the order of parts stays clear
        elif n:
            row["installed"] = str(start)
        if rng.random() < (0.6 if n + 1 < len(starts) else 0.3) or "installed" not in row:
            row["removed"] = str(min(following, start + timedelta(days=rng.choice((0, 20, 400, 2000, 9000)))))
            row["removal_reason"] = rng.choice(("indication", "preventive", "unknown"))
        rows.append(row)
    return rows


def _look(rng: random.Random, boat: str, place: str, handovers: list[date]) -> Cells:
    day = _day(rng, 1000, 8200)
    if handovers and rng.random() < 0.35:
        day = rng.choice(handovers) + timedelta(days=rng.choice((-32, -31, -20, 0, 0, 20, 31, 32)))
    row = {"boat_id": boat, "fitting_id": place, "inspected_on": str(day)}
    row["method"] = rng.choice(("visual", "penetrant", "eddy_current"))
    row["result"] = rng.choice(
        ("no_indication",) * 6
        + ("relevant", "relevant", "failed", "non_relevant", "false", "inconclusive", "not_inspected")
    )
    if rng.random() < 0.5:
        row |= {"surface_cleaned": rng.choice(("yes", "yes", "no")), "part_temp_c": str(rng.choice((4, 10, 20, 50)))}
        row |= {"penetrant_dwell_min": str(rng.choice((4, 5, 20))), "developer_dwell_min": str(rng.choice((9, 10)))}
    if rng.random() < 0.4:
        row["disposition"] = rng.choice(("confirmed", "unfounded", "open"))
    action = rng.random()
    if action < 0.15:
        row["action"] = "removed" if action < 0.03 else "replaced"
    elif rng.random() < 0.15:
        row["inspected_on"] = f"{day:%Y}" if rng.random() < 0.5 else f"{day:%Y-%m}"
    if rng.random() < 0.05 and "action" not in row:
        del row["fitting_id"]
    return row


def _days_of(row: Cells) -> list[str]:
    return [row[k] for k in ("installed", "removed") if len(row.get(k, "")) == len("2000-01-01")]


def fleet_of_one(rng: random.Random, number: int) -> dict[str, list[Cells]]:
    """Return the rows of each input table for one boat."""
    boat = _boat(rng, f"B{number:03}")
    name = boat["boat_id"]
    places = [f"F{n}" for n in range(rng.randint(1, 3))]
    events = [
        {"boat_id": name, "happened_on": str(_day(rng)), "kind": rng.choice(("grounding", "refit"))}
        | ({"fitting_types": rng.choice(("Mast_Tang", "keel bolt; chainplate"))} if rng.random() < 0.5 else {})
        for _ in range(rng.randint(0, 1))
    ]
    fittings = {p: _fittings(rng, name, p) for p in places}
    days = {p: [date.fromisoformat(d) for r in fittings[p] for d in _days_of(r)] for p in places}
    looked = [rng.choice(places) for _ in range(rng.randint(0, 20))]
    return {
        "boats": [boat],
        "fittings": [row for p in places for row in fittings[p]],
        "inspections": [_look(rng, name, p, days[p]) for p in looked],
        "events": [e for e in events if e["happened_on"] <= str(AS_OF)],
    }
