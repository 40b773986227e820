"""A plan in the making: who stands where, and what room is left. The one place that changes while planning."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from bobstay.plan.record import FREE, Bundle, Charge, Job, Visit, Yard

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

_GAIN = 1e-9  # a change must avoid more than this much more loss


class Schedule:
    """Visits so far; every visit it holds keeps every limit of the yard."""

    def __init__(self, yard: Yard, charge: Charge = FREE) -> None:
        self.yard = yard
        self.charge = charge  # what scarce money and hours are worth while choosing jobs
        self.visits: dict[str, Visit] = {}
        self._places = [week.boats_max for week in yard.weeks]
        self._week_hours = [week.hours_max for week in yard.weeks]
        self._out: Counter[tuple[str, date]] = Counter()
        self._money, self._hours = yard.budget, yard.hours

    @property
    def avoided(self) -> float:
        """Return the expected loss all visits take away."""
        return sum((visit.avoided for visit in self.visits.values()), 0.0)

    def add(self, visit: Visit) -> None:
        """Take a visit in; it must have come from `offer` with nothing changed since."""
        self.visits[visit.boat_id] = visit
        self._count(visit, 1)

    def remove(self, boat_id: str) -> Visit:
        """Take a boat out again and return her visit."""
        visit = self.visits.pop(boat_id)
        self._count(visit, -1)
        return visit

    def _count(self, visit: Visit, sign: int) -> None:
        self._places[visit.week] -= sign
        self._week_hours[visit.week] -= sign * visit.hours
        self._money -= sign * visit.cost
        self._hours -= sign * visit.hours
        for mark in self.yard.weeks[visit.week].marks:
            self._out[self.yard.service[visit.boat_id], mark] += sign

    def has_place(self, week: int) -> bool:
        """Say whether one more boat finds a place that week."""
        return self._places[week] > 0

    def keeps_service(self, boat_id: str, week: int) -> bool:
        """Say whether enough boats of her service stay in service with her out that week."""
        service = self.yard.service[boat_id]
        allowed = self.yard.out_max.get(service, 0)
        return all(self._out[service, mark] < allowed for mark in self.yard.weeks[week].marks)

    def room(self, weeks: Iterable[int]) -> tuple[float, float]:
        """Return the most hours left in any of `weeks`, and the money left."""
        return min(max(self._week_hours[week] for week in weeks), self._hours), self._money

    def offer(self, boat_id: str, week: int) -> Visit | None:
        """Return the visit the boat could have that week, or None where no job of hers fits."""
        if not (self.has_place(week) and self.keeps_service(boat_id, week)):
            return None
        hours = min(self._week_hours[week], self._hours)
        return self.visit(boat_id, week, hours=hours, money=self._money)

    def visit(self, boat_id: str, week: int, *, hours: float, money: float) -> Visit | None:
        """Return the best visit within `hours` and `money`, other boats left out of account."""
        offered = [b for b in self.yard.bundles[boat_id] if self.yard.weeks[week].offers(b.access)]
        taken = _fill(offered, hours, money, self.charge)
        if not taken:
            return None
        jobs = tuple(job for _, mine in taken for job in mine)
        return Visit(
            boat_id,
            week,
            jobs,
            hours=sum(bundle.hours for bundle, _ in taken) + sum(job.hours for job in jobs),
            cost=sum(bundle.cost for bundle, _ in taken) + sum(job.cost for job in jobs),
            avoided=sum(job.avoided for job in jobs),
        )

    def best_offer(self, boat_id: str, weeks: Iterable[int] | None = None) -> Visit | None:
        """Return the visit that avoids most among `weeks` (all she can reach), the earliest of equals."""
        best: Visit | None = None
        seen: set[tuple[frozenset[str], float]] = set()
        for week in self.yard.reachable[boat_id] if weeks is None else weeks:
            alike = (self.yard.weeks[week].accesses, self._week_hours[week])
            if alike in seen or not (self.has_place(week) and self.keeps_service(boat_id, week)):
                continue
            seen.add(alike)
            offered = self.offer(boat_id, week)
            if offered and (best is None or offered.avoided > best.avoided + _GAIN):
                best = offered
        return best


def _fill(bundles: Sequence[Bundle], hours: float, money: float, charge: Charge) -> list[tuple[Bundle, list[Job]]]:
    """Choose jobs within hours and money, bundle by bundle in their order."""
    taken = []
    for bundle in bundles:
        jobs = _fit(bundle, hours - bundle.hours, money - bundle.cost, charge)
        paid = bundle.access_worth + charge.of(bundle.hours, bundle.cost)
        if sum(job.worth - charge.of(job.hours, job.cost) for job in jobs) > paid:
            taken.append((bundle, jobs))
            hours -= bundle.hours + sum(job.hours for job in jobs)
            money -= bundle.cost + sum(job.cost for job in jobs)
    return taken


def _fit(bundle: Bundle, hours: float, money: float, charge: Charge) -> list[Job]:
    jobs = []
    for job in bundle.jobs:
        fits = job.hours <= hours + _GAIN and job.cost <= money + _GAIN
        if fits and job.worth > charge.of(job.hours, job.cost):
            jobs.append(job)
            hours, money = hours - job.hours, money - job.cost
    return jobs
