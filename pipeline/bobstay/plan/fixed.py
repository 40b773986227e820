"""Decisions taken already: read from a file, laid into the yard, and refused by name where they cannot hold."""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from bobstay.errors import UsageError
from bobstay.plan.record import Visit

if TYPE_CHECKING:
    from pathlib import Path

    from bobstay.plan.record import Job, Yard

_ACTIONS = ("test", "replace", "act_now")
_NEEDED = ("boat_id", "slot_id")
_CLOSE = 1e-6


@dataclass(frozen=True, slots=True)
class Decision:
    """One row: a boat in a slot, of a week where that is stated, and a job there where a fitting is named."""

    boat_id: str
    slot_id: str
    starts_on: date | None
    fitting_id: str
    action: str
    where: str  # file and line


def read_decisions(path: Path) -> tuple[Decision, ...]:
    """Read a CSV file with boat_id, slot_id and, where stated, starts_on, fitting_id, action; other columns are left.

    Raises UsageError that names file, line and what is wrong.
    """
    if not path.is_file():
        raise UsageError("the file of decisions is not there", where=str(path), remedy="check the name after --fix")
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.DictReader(file)
        missing = [name for name in _NEEDED if name not in (reader.fieldnames or ())]
        if missing:
            raise UsageError(
                f"the file of decisions has no column {' and '.join(missing)}",
                where=f"{path.name}, line 1",
                remedy="columns: boat_id, slot_id and, where stated, starts_on, fitting_id, action",
            )
        return tuple(_decision(row, f"{path.name}, line {line}") for line, row in enumerate(reader, start=2))


def _decision(row: dict[str, str | None], where: str) -> Decision:
    cells = {name: (row.get(name) or "").strip() for name in (*_NEEDED, "starts_on", "fitting_id", "action")}
    empty = [name for name in _NEEDED if not cells[name]]
    if empty:
        raise UsageError(
            f"a decision without {' and '.join(empty)}", where=where, remedy="fill the cell or take the row out"
        )
    if cells["action"] not in {"", *_ACTIONS}:
        raise UsageError(
            "a decision with an action that is none",
            where=f"{where}, value {cells['action']!r}",
            remedy=f"allowed: {', '.join(_ACTIONS)}",
        )
    try:
        day = date.fromisoformat(cells["starts_on"][:10]) if cells["starts_on"] else None
    except ValueError:
        raise UsageError(
            "a decision with a day that is none",
            where=f"{where}, value {cells['starts_on']!r}",
            remedy="write it as 2026-11-02",
        ) from None
    return Decision(cells["boat_id"], cells["slot_id"], day, cells["fitting_id"], cells["action"], where)


def jobs_decided(
    decisions: tuple[Decision, ...], proposed: dict[tuple[str, str], str], boats: set[str]
) -> dict[str, dict[str, str]]:
    """Return, by boat, the fittings named and what is done with each: as stated, else as `proposed` by the priority.

    Raises UsageError for a boat or a fitting that is not there, and for one with two actions.
    """
    found: dict[str, dict[str, str]] = {}
    for one in decisions:
        if one.boat_id not in boats:
            raise UsageError(
                "a decision for a boat that is not in the fleet",
                where=f"{one.where}, boat {one.boat_id}",
                remedy="check boat_id",
            )
        mine = found.setdefault(one.boat_id, {})
        if not one.fitting_id:
            continue
        named = f"{one.where}, boat {one.boat_id}, fitting {one.fitting_id}"
        if (one.boat_id, one.fitting_id) not in proposed:
            raise UsageError("a decision for a fitting that is not in service", where=named, remedy="check fitting_id")
        action = one.action or proposed[one.boat_id, one.fitting_id]
        if action == "leave":
            raise UsageError(
                "a decision that does not say what is done",
                where=named,
                remedy=f"give an action: {', '.join(_ACTIONS)}",
            )
        if mine.setdefault(one.fitting_id, action) != action:
            raise UsageError("two decisions for one fitting", where=named, remedy="keep one of them")
    return found


def with_decisions(yard: Yard, decisions: tuple[Decision, ...], jobs: dict[str, dict[str, str]]) -> Yard:
    """Return the yard with the boats of the decisions in their weeks; UsageError names the limit in the way."""
    weeks = _weeks_decided(yard, decisions)
    fixed = {}
    for boat, week in sorted(weeks.items()):
        _refuse(week not in yard.free[boat], "the boat is not free", f"boat {boat}, week of {_named(yard, week)}")
        fixed[boat] = _visit(yard, boat, week, jobs[boat])
    _keep_limits(yard, tuple(fixed.values()))
    reachable = yard.reachable | {boat: (week,) for boat, week in weeks.items()}
    return replace(yard, reachable=reachable, fixed=fixed)


def _weeks_decided(yard: Yard, decisions: tuple[Decision, ...]) -> dict[str, int]:
    found: dict[str, int] = {}
    for one in decisions:
        fits = [
            number
            for number, week in enumerate(yard.weeks)
            if week.slot_id == one.slot_id and one.starts_on in {None, week.starts_on}
        ]
        named = f"{one.where}, slot {one.slot_id}" + (f", {one.starts_on}" if one.starts_on else "")
        _refuse(not fits, "no such slot holds a boat on or after the as-of date", named)
        _refuse(len(fits) > 1, "the slot has several weeks and none is named (starts_on)", named)
        week = found.setdefault(one.boat_id, fits[0])
        _refuse(
            week != fits[0], "a boat is hauled once, and this one has two weeks", f"{one.where}, boat {one.boat_id}"
        )
    return found


def _visit(yard: Yard, boat: str, week: int, wanted: dict[str, str]) -> Visit:
    """Return the visit with just the jobs decided."""
    there = yard.weeks[week]
    jobs: list[Job] = []
    hours = cost = worth = 0.0
    for bundle in yard.bundles[boat]:
        mine = [job for job in bundle.jobs if job.fitting_id in wanted]
        for job in mine:
            named = f"boat {boat}, fitting {job.fitting_id}, {_named(yard, week)}"
            _refuse(not there.offers(job.access), f"the slot does not offer the access {job.access}", named)
            _refuse(job.ready_on > there.starts_on, f"the new part is not there before {job.ready_on}", named)
        if mine:
            jobs += mine
            hours += bundle.hours + sum(job.hours for job in mine)
            cost += bundle.cost + sum(job.cost for job in mine)
            worth += sum(job.worth for job in mine) - bundle.access_worth
    return Visit(boat, week, tuple(jobs), hours, cost, sum((job.avoided for job in jobs), 0.0), worth)


def _keep_limits(yard: Yard, visits: tuple[Visit, ...]) -> None:
    """Raise UsageError where the decisions together pass a limit."""
    by_week: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        by_week[visit.week].append(visit)
    for week, mine in sorted(by_week.items()):
        there, named = yard.weeks[week], _named(yard, week)
        _over(len(mine), there.boats_max, "places of the slot (boats_max)", named)
        _over(sum(visit.hours for visit in mine), there.hours_max, "hours of the slot (hours_max)", named)
        opened = Counter(access for visit in mine for access in sorted({job.access for job in visit.jobs}))
        for access, count in sorted(opened.items()):
            _over(
                count,
                yard.access_max.get(access, float("inf")),
                f"boats that a slot can do {access} for in a week (plan.access_boats_max)",
                named,
            )
    _over(sum(visit.cost for visit in visits), yard.budget, "money (plan.budget)", "all decisions together")
    _over(sum(visit.hours for visit in visits), yard.hours, "hours of the plan (plan.hours)", "all decisions together")
    out = Counter((yard.group[visit.boat_id], mark) for visit in visits for mark in yard.weeks[visit.week].marks)
    for (group, mark), count in sorted(out.items()):
        most = yard.out_max.get(group, 0)
        _over(
            count,
            most,
            f"boats of {group} that may be out at once (plan.minimum_in_service, plan.kept_in_service)",
            f"on {mark}",
        )


def _over(asked: float, most: float, limit: str, where: str) -> None:
    _refuse(asked > most + _CLOSE, f"{asked:g} asked for, of {most:g} {limit}", where)


def _refuse(is_wrong: bool, limit: str, where: str) -> None:
    if is_wrong:
        raise UsageError(
            f"the decisions of --fix cannot hold: {limit}",
            where=where,
            remedy="change the decision, or the limit that stands in its way",
        )


def _named(yard: Yard, week: int) -> str:
    there = yard.weeks[week]
    return f"slot {there.slot_id}, {there.starts_on}"
