"""Of plans that do the same work, the one that does the most urgent first."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from bobstay.plan.record import Visit, Yard

_FIRST = 200  # visits put early where there are many; the rest stay where they are
_CLOSE = 1e-6


def most_urgent_first(yard: Yard, visits: Iterable[Visit]) -> tuple[Visit, ...]:
    """Move or swap visits so that those that avoid most loss come earliest, all limits kept; the jobs stay the same.

    What a plan gains does not depend on the week, so that nothing is lost by it; a crack left waiting may be.
    """
    taken = _Taken(yard, visits)
    order = sorted(taken.week, key=lambda boat: (-taken.visits[boat].avoided, boat))
    for boat in order[:_FIRST]:
        if boat not in yard.fixed:
            _put_early(taken, boat)
    return tuple(replace(visit, week=taken.week[boat]) for boat, visit in taken.visits.items())


def _put_early(taken: _Taken, boat: str) -> None:
    """Put one boat in the earliest week that has room for her, or in which a less urgent boat changes with her."""
    weeks = taken.yard.weeks
    now = weeks[taken.week[boat]].starts_on
    for week in sorted(taken.yard.reachable[boat], key=lambda number: (weeks[number].starts_on, number)):
        if weeks[week].starts_on >= now:
            return
        if taken.moved(boat, week) or any(taken.swapped(boat, other) for other in taken.less_urgent(boat, week)):
            return


class _Taken:
    """Who is where, and how much of each limit is taken."""

    def __init__(self, yard: Yard, visits: Iterable[Visit]) -> None:
        self.yard = yard
        self.visits = {visit.boat_id: visit for visit in visits}
        self.week = {boat: visit.week for boat, visit in self.visits.items()}
        self.boats: Counter[int] = Counter()
        self.hours: defaultdict[int, float] = defaultdict(float)
        self.opened: Counter[tuple[int, str]] = Counter()
        self.out: Counter[tuple[str, date]] = Counter()
        for boat, number in self.week.items():
            self._count(boat, number, 1)

    def less_urgent(self, boat: str, week: int) -> list[str]:
        """Return the boats of `week` that may give way to `boat`, the least urgent first."""
        own = self.visits[boat].avoided
        there = [b for b, number in self.week.items() if number == week and b not in self.yard.fixed]
        return sorted((b for b in there if self.visits[b].avoided < own - _CLOSE), key=lambda b: self.visits[b].avoided)

    def moved(self, boat: str, week: int) -> bool:
        """Move `boat` to `week` if that keeps all limits; say whether it did."""
        return self._placed({boat: week})

    def swapped(self, boat: str, other: str) -> bool:
        """Let two boats change weeks if that keeps all limits; say whether they did."""
        return self._placed({boat: self.week[other], other: self.week[boat]})

    def _placed(self, where: dict[str, int]) -> bool:
        before = {boat: self.week[boat] for boat in where}
        self._go(where)
        if all(self._is_lawful(boat, week) for boat, week in where.items()):
            return True
        self._go(before)
        return False

    def _go(self, where: dict[str, int]) -> None:
        for boat, week in where.items():
            self._count(boat, self.week[boat], -1)
            self._count(boat, week, 1)
            self.week[boat] = week

    def _count(self, boat: str, week: int, by: int) -> None:
        visit = self.visits[boat]
        self.boats[week] += by
        self.hours[week] += by * visit.hours
        for access in {job.access for job in visit.jobs}:
            self.opened[week, access] += by
        for mark in self.yard.weeks[week].marks:
            self.out[self.yard.group[boat], mark] += by

    def _is_lawful(self, boat: str, number: int) -> bool:
        """Say whether `boat`, counted in already, keeps all limits of week `number`."""
        week, jobs, group = self.yard.weeks[number], self.visits[boat].jobs, self.yard.group[boat]
        accesses = {job.access for job in jobs}
        return (
            number in self.yard.reachable[boat]
            and self.boats[number] <= week.boats_max
            and self.hours[number] <= week.hours_max + _CLOSE
            and all(week.offers(access) for access in accesses)
            and all(self.opened[number, a] <= self.yard.access_max.get(a, math.inf) for a in accesses)
            and all(job.ready_on <= week.starts_on for job in jobs)
            and all(self.out[group, mark] <= self.yard.out_max.get(group, 0) for mark in week.marks)
        )
