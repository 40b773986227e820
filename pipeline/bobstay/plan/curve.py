"""What more or less money, hours or places would buy: the plan made anew at several amounts of one of them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.plan.solve import Solved, solved
from bobstay.tables import PLAN_CURVE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bobstay.plan.record import Visit, Yard

_SHARES = (0.5, 1.0, 1.5)  # of the limit in force, or of what the plan uses where there is none
_PLACES = (0, 1, 5)
_BOATS_MAX = 1000  # of more boats no curve is drawn: each point is a plan


def curve(yard: Yard, made: Solved) -> pd.DataFrame:
    """Return rows of `tables.PLAN_CURVE`; the plan's own point is the plan `made`, the others are looked for less hard.

    More of a thing never gains less: a plan found with less of it is kept where no better is found.
    """
    rows: list[dict[str, object]] = []
    if len(yard.bundles) <= _BOATS_MAX and made.visits:
        for limit, points in (
            ("budget", _by_money(yard, made)),
            ("hours", _by_hours(yard)),
            ("places", _by_places(yard, made)),
        ):
            rows += _rows(limit, list(points), made)
    return pd.DataFrame(rows, columns=list(PLAN_CURVE.column_names))


def _by_money(yard: Yard, made: Solved) -> Iterator[tuple[float, bool, Yard]]:
    base = yard.budget if math.isfinite(yard.budget) else sum(visit.cost for visit in made.visits)
    fixed = sum(visit.cost for visit in yard.fixed.values())
    for share in _SHARES:
        if base * share >= fixed and (share <= 1 or math.isfinite(yard.budget)):
            yield base * share, share == 1.0, replace(yard, budget=base * share)


def _by_hours(yard: Yard) -> Iterator[tuple[float, bool, Yard]]:
    if not math.isfinite(yard.hours):
        return
    fixed = sum(visit.hours for visit in yard.fixed.values())
    for share in _SHARES:
        if yard.hours * share >= fixed:
            yield yard.hours * share, share == 1.0, replace(yard, hours=yard.hours * share)


def _by_places(yard: Yard, made: Solved) -> Iterator[tuple[float, bool, Yard]]:
    """Yield yards with places more where they are worth most, and fewer where they are worth least."""
    order = np.argsort(-np.array(made.worth_of_place), kind="stable")
    free = [week for week in order[::-1] if not any(visit.week == week for visit in yard.fixed.values())]
    total = sum(week.boats_max for week in yard.weeks)
    for more in _PLACES:
        chosen = [int(week) for week in (np.resize(order, more) if more > 0 else free[:-more])]
        if len(chosen) == abs(more):
            yield float(total + more), more == 0, _with_places(yard, chosen, 1 if more > 0 else -1)


def _with_places(yard: Yard, chosen: list[int], change: int) -> Yard:
    weeks = list(yard.weeks)
    for number in chosen:
        week = weeks[number]
        share = (week.boats_max + change) / week.boats_max
        weeks[number] = replace(week, boats_max=week.boats_max + change, hours_max=week.hours_max * share)
    return replace(yard, weeks=tuple(weeks))


def _rows(limit: str, points: list[tuple[float, bool, Yard]], made: Solved) -> list[dict[str, object]]:
    rows = []
    best: tuple[Visit, ...] = ()
    for amount, is_in_force, yard in points:
        found = made.visits if is_in_force else solved(yard, quick=True).visits
        best = max(best, found, key=_worth)
        rows.append(_row(limit, amount, is_in_force, best))
    return rows


def _worth(visits: tuple[Visit, ...]) -> float:
    return sum((visit.worth for visit in visits), 0.0)


def _row(limit: str, amount: float, is_in_force: bool, visits: tuple[Visit, ...]) -> dict[str, object]:
    return {
        "limit": limit,
        "amount": amount,
        "is_in_force": is_in_force,
        "loss_avoided": sum((visit.avoided for visit in visits), 0.0),
        "net_avoided": _worth(visits),
        "cost": sum((visit.cost for visit in visits), 0.0),
        "hours": sum((visit.hours for visit in visits), 0.0),
        "jobs": sum(len(visit.jobs) for visit in visits),
        "boats": len(visits),
    }
