"""A plan as it stands: who is where, and what room is left. For the words that say why a boat waits."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from bobstay.plan.record import Bundle, Job, Visit, Yard

_CLOSE = 1e-6


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

    def _add(self, visit: Visit) -> None:
        self.visits[visit.boat_id] = visit
        self._places[visit.week] -= 1
        self._week_hours[visit.week] -= visit.hours
        self._money -= visit.cost
        self._hours -= visit.hours
        for mark in self.yard.weeks[visit.week].marks:
            self._out[self.yard.group[visit.boat_id], mark] += 1
        for access in {job.access for job in visit.jobs}:
            self._opened[visit.week, access] += 1

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
        if job.hours <= hours + _CLOSE and job.cost <= money + _CLOSE:
            hours, money, worth = hours - job.hours, money - job.cost, worth + job.worth
    return hours >= -_CLOSE and money >= -_CLOSE and worth > 0
