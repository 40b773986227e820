"""An upper bound on the loss any plan can avoid: the linear relaxation, solved by HiGHS through scipy."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from bobstay.plan.record import FREE, Charge

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from numpy.typing import NDArray

    from bobstay.plan.record import Bundle, Yard

_PRICELESS = 1e-12
VARIABLES_MAX = 20_000  # more, and neighbouring weeks are merged: a looser bound, still a bound


@dataclass(frozen=True, slots=True)
class Bound:
    """The bound in cost units, and how many neighbouring weeks were taken together for it (1: none)."""

    avoided: float
    merged: int
    charge: Charge = FREE  # dual prices of an hour and of money


@dataclass(slots=True)
class _Programme:
    """Rows of `A v <= b` with gains to be maximised, variables in [0, 1]."""

    gains: list[float] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    columns: list[int] = field(default_factory=list)
    weights: list[float] = field(default_factory=list)
    limits: list[float] = field(default_factory=list)
    resources: list[str] = field(default_factory=list)

    def variable(self, gain: float = 0.0) -> int:
        self.gains.append(gain)
        return len(self.gains) - 1

    def limit(self, terms: Iterable[tuple[int, float]], most: float, resource: str = "") -> None:
        if math.isinf(most):
            return
        for column, weight in terms:
            self.rows.append(len(self.limits))
            self.columns.append(column)
            self.weights.append(weight)
        self.limits.append(most)
        self.resources.append(resource)

    def solve(self, merged: int) -> Bound:
        """Solve by HiGHS; a programme it cannot finish is bounded by all gains together."""
        shape = (len(self.limits), len(self.gains))
        matrix = csr_array((self.weights, (self.rows, self.columns)), shape=shape)
        solved = linprog(-np.array(self.gains), A_ub=matrix, b_ub=self.limits, bounds=(0, 1), method="highs")
        if solved.status != 0:
            return Bound(sum(self.gains), merged)
        return Bound(max(float(-solved.fun), 0.0) + 0.0, merged, self._charge(-solved.ineqlin.marginals))

    def _charge(self, prices: NDArray[np.float64]) -> Charge:
        """Return the price of money, and of an hour: the plan's and the mean of the weeks'."""
        of = {name: prices[[r == name for r in self.resources]] for name in ("money", "hours", "week hours")}
        hour = of["hours"].sum() + (of["week hours"].mean() if of["week hours"].size else 0.0)
        charge = Charge(float(hour), float(of["money"].sum()))
        return charge if charge.hour + charge.money > _PRICELESS else FREE


def upper_bound(yard: Yard) -> Bound:
    """Return the most loss any plan could avoid with fractions of boats, accesses and jobs allowed.

    Neighbouring weeks of one set of accesses are merged where there are too many variables.
    """
    stays = sum(
        len(yard.reachable[boat]) * (1 + sum(1 + len(b.jobs) for b in bundles))
        for boat, bundles in yard.bundles.items()
    )
    if stays == 0:
        return Bound(0.0, 1)
    merged = math.ceil(stays / VARIABLES_MAX)
    return _relaxed(yard, _periods(yard, merged))


def _periods(yard: Yard, merged: int) -> list[tuple[int, ...]]:
    """Return groups of up to `merged` weeks in order of time, each of one set of accesses."""
    by_access: dict[frozenset[str], list[int]] = {}
    for number, week in enumerate(yard.weeks):
        by_access.setdefault(week.accesses, []).append(number)
    return [tuple(numbers[i : i + merged]) for numbers in by_access.values() for i in range(0, len(numbers), merged)]


def _relaxed(yard: Yard, periods: list[tuple[int, ...]]) -> Bound:
    programme = _Programme()
    visits: dict[tuple[str, int], int] = {}
    hours: dict[int, list[tuple[int, float]]] = {p: [] for p in range(len(periods))}
    money: list[tuple[int, float]] = []
    for boat, bundles in yard.bundles.items():
        reachable = set(yard.reachable[boat])
        mine = [p for p, weeks in enumerate(periods) if reachable.intersection(weeks)]
        for p in mine:
            visits[boat, p] = programme.variable()
            offered = [b for b in bundles if yard.weeks[periods[p][0]].offers(b.access)]
            spent = [_add_bundle(programme, visits[boat, p], bundle) for bundle in offered]
            hours[p] += [(column, job_hours) for rows in spent for column, job_hours, _ in rows]
            money += [(column, cost) for rows in spent for column, _, cost in rows]
        programme.limit(((visits[boat, p], 1.0) for p in mine), 1.0)
    programme.limit(money, yard.budget, "money")
    programme.limit((term for terms in hours.values() for term in terms), yard.hours, "hours")
    for p, weeks in enumerate(periods):
        programme.limit(hours[p], sum(yard.weeks[w].hours_max for w in weeks), "week hours")
        here = [(column, 1.0) for (_, period), column in visits.items() if period == p]
        programme.limit(here, sum(yard.weeks[w].boats_max for w in weeks))
    _keep_service(programme, yard, periods, visits)
    return programme.solve(max(map(len, periods)))


def _add_bundle(programme: _Programme, visit: int, bundle: Bundle) -> list[tuple[int, float, float]]:
    """Add a bundle and its jobs under a visit; return (variable, hours, money) of each."""
    opened = programme.variable()
    programme.limit([(opened, 1.0), (visit, -1.0)], 0.0)
    spent = [(opened, bundle.hours, bundle.cost)]
    for job in bundle.jobs:
        done = programme.variable(job.avoided)
        programme.limit([(done, 1.0), (opened, -1.0)], 0.0)
        spent.append((done, job.hours, job.cost))
    return spent


def _keep_service(
    programme: _Programme, yard: Yard, periods: list[tuple[int, ...]], visits: dict[tuple[str, int], int]
) -> None:
    """Limit the boats of each service that are out on any first day of a week."""
    out: dict[tuple[str, date], list[tuple[int, float]]] = {}
    for (boat, p), column in visits.items():
        for mark in set.intersection(*(set(yard.weeks[w].marks) for w in periods[p])):
            out.setdefault((yard.service[boat], mark), []).append((column, 1.0))
    for (service, _), terms in out.items():
        programme.limit(terms, yard.out_max.get(service, 0))
