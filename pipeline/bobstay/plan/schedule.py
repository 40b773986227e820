"""A plan as it stands: who is where, and what room is left; for the words that say why a boat waits, and for moves."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from bobstay.plan.record import Bundle, Job, Visit, Yard

CLOSE = 1e-6


class Schedule:
    """The visits of a plan, and the room they leave."""

    def __init__(self, yard: Yard, visits: Iterable[Visit] = ()) -> None:
        self.yard = yard
        self.visits: dict[str, Visit] = {}
        self._places = [week.boats_max for week in yard.weeks]
        self._week_hours = [week.hours_max for week in yard.weeks]
        self._out: Counter[tuple[str, date]] = Counter()
        self._opened: Counter[tuple[int, str]] = Counter()
        self._money, self._hours = yard.budget, yard.hours
        for visit in visits:
            self._add(visit)

    def changed(self, old: Sequence[Visit], new: Sequence[Visit]) -> bool:
        """Put the visits `new` in the place of `old`, of the same boats, if that keeps all limits; say whether it did.

        Money and hours of the whole plan are left out of account: moves take none.
        """
        self._exchange(old, new)
        if all(self._is_lawful(visit) for visit in new):
            return True
        self._exchange(new, old)
        return False

    def _exchange(self, old: Sequence[Visit], new: Sequence[Visit]) -> None:
        for visit in old:
            self._count(visit, -1)
        for visit in new:
            self._add(visit)

    def _add(self, visit: Visit) -> None:
        self.visits[visit.boat_id] = visit
        self._count(visit, 1)

    def _count(self, visit: Visit, by: int) -> None:
        self._places[visit.week] -= by
        self._week_hours[visit.week] -= by * visit.hours
        self._money -= by * visit.cost
        self._hours -= by * visit.hours
        for mark in self.yard.weeks[visit.week].marks:
            self._out[self.yard.group[visit.boat_id], mark] += by
        for access in {job.access for job in visit.jobs}:
            self._opened[visit.week, access] += by

    def _is_lawful(self, visit: Visit) -> bool:
        """Say whether a visit, counted in already, keeps all limits of its week."""
        yard, number = self.yard, visit.week
        week, group = yard.weeks[number], yard.group[visit.boat_id]
        accesses = {job.access for job in visit.jobs}
        return (
            number in yard.reachable[visit.boat_id]
            and self._places[number] >= 0
            and self._week_hours[number] >= -CLOSE
            and all(week.offers(access) for access in accesses)
            and all(self._opened[number, a] <= yard.access_max.get(a, math.inf) for a in accesses)
            and all(job.ready_on <= week.starts_on for job in visit.jobs)
            and all(self._out[group, mark] <= yard.out_max.get(group, 0) for mark in week.marks)
        )

    def has_place(self, week: int) -> bool:
        """Say whether one more boat finds a place that week."""
        return self._places[week] > 0

    def keeps_service(self, boat_id: str, week: int) -> bool:
        """Say whether enough boats of her group stay in service with her out that week."""
        group = self.yard.group[boat_id]
        allowed = self.yard.out_max.get(group, 0)
        return all(self._out[group, mark] < allowed for mark in self.yard.weeks[week].marks)

    def can_open(self, boat_id: str, week: int) -> bool:
        """Say whether some access of hers can still be opened that week."""
        most = self.yard.access_max
        return any(
            self.yard.weeks[week].offers(b.access) and self._opened[week, b.access] < most.get(b.access, math.inf)
            for b in self.yard.bundles[boat_id]
        )

    def room(self, weeks: Iterable[int]) -> tuple[float, float]:
        """Return the most hours left in any of `weeks`, and the money left."""
        return min(max(self._week_hours[week] for week in weeks), self._hours), self._money

    def would_pay(self, boat_id: str, week: int, *, hours: float, money: float) -> bool:
        """Say whether some jobs of hers pay that week within `hours` and `money`, other boats left out of account."""
        there = self.yard.weeks[week]
        return any(
            _pays(bundle, [j for j in bundle.jobs if j.ready_on <= there.starts_on], hours, money)
            for bundle in self.yard.bundles[boat_id]
            if there.offers(bundle.access)
        )


def _pays(bundle: Bundle, jobs: Sequence[Job], hours: float, money: float) -> bool:
    """Say whether jobs that fit, worth most for their hours first, pay their access."""
    hours, money, worth = hours - bundle.hours, money - bundle.cost, -bundle.access_worth
    for job in jobs:
        if job.hours <= hours + CLOSE and job.cost <= money + CLOSE:
            hours, money, worth = hours - job.hours, money - job.cost, worth + job.worth
    return hours >= -CLOSE and money >= -CLOSE and worth > 0
