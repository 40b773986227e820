"""Of plans that do the same work, the one that does the most urgent first."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from bobstay.plan.schedule import CLOSE, Schedule

if TYPE_CHECKING:
    from collections.abc import Iterable

    from bobstay.plan.record import Visit, Yard

_FIRST = 200  # visits put early where there are many; the rest stay where they are


def most_urgent_first(yard: Yard, visits: Iterable[Visit]) -> tuple[Visit, ...]:
    """Move or swap visits so that those that avoid most loss come earliest, all limits kept; the jobs stay the same.

    What a plan gains does not depend on the week, so that nothing is lost by it; a crack left waiting may be.
    """
    schedule = Schedule(yard, visits)
    order = sorted(schedule.visits.values(), key=lambda visit: (-visit.avoided, visit.boat_id))
    for visit in order[:_FIRST]:
        if visit.boat_id not in yard.fixed:
            _put_early(schedule, visit.boat_id)
    return tuple(schedule.visits.values())


def _put_early(schedule: Schedule, boat: str) -> None:
    """Put one boat in the earliest week that has room for her, or in which a less urgent boat changes with her."""
    weeks, visit = schedule.yard.weeks, schedule.visits[boat]
    for week in sorted(schedule.yard.reachable[boat], key=lambda number: (weeks[number].starts_on, number)):
        if weeks[week].starts_on >= weeks[visit.week].starts_on:
            return
        early = replace(visit, week=week)
        if schedule.changed([visit], [early]) or any(
            schedule.changed([visit, other], [early, replace(other, week=visit.week)])
            for other in _less_urgent(schedule, visit, week)
        ):
            return


def _less_urgent(schedule: Schedule, visit: Visit, week: int) -> list[Visit]:
    """Return the visits of `week` that may give way to `visit`, the least urgent first."""
    there = [
        other
        for boat, other in schedule.visits.items()
        if other.week == week and other.avoided < visit.avoided - CLOSE and boat not in schedule.yard.fixed
    ]
    return sorted(there, key=lambda other: other.avoided)
