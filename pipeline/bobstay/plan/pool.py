"""Visits thought of so far: a boat, a week and the jobs of one choice, as columns of a programme."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bobstay.plan.record import Visit

if TYPE_CHECKING:
    from bobstay.plan.flat import Flags, Flat, Floats, Ints

_CLOSE = 1e-6


class Pool:
    """Columns, shape (c,): boat, week, hours, cost, gain (net, cost units), what of each limited access (a, c)."""

    def __init__(self, flat: Flat) -> None:
        self.flat = flat
        self.boat = self.week = np.zeros(0, dtype=np.int64)
        self.hours = self.cost = self.gain = np.zeros(0)
        self.opened = np.zeros((len(flat.accesses), 0))
        self.jobs: list[Ints] = []
        self._known: set[tuple[int, int, bytes]] = set()

    def __len__(self) -> int:
        return len(self.jobs)

    def add(self, boat: Ints, week: Ints, chosen: tuple[Ints, Ints]) -> Ints:
        """Take in new visits, `chosen` as (which of them, job), that keep their own limits; return their numbers."""
        asked, job = chosen
        job = job[np.lexsort((job, asked))]
        sets = np.split(job, np.cumsum(np.bincount(asked, minlength=len(boat)))[:-1])
        made = _Sums(self.flat, boat, np.sort(asked), job)
        fits = (made.hours <= self.flat.hours[week] + _CLOSE) & (made.cost <= self.flat.yard.budget + _CLOSE)
        fits &= made.has_fixed
        fresh = [i for i in np.flatnonzero(fits) if self._is_new(int(boat[i]), int(week[i]), sets[i])]
        first = len(self)
        self.jobs += [sets[i] for i in fresh]
        self.boat, self.week = np.append(self.boat, boat[fresh]), np.append(self.week, week[fresh])
        self.hours, self.cost = np.append(self.hours, made.hours[fresh]), np.append(self.cost, made.cost[fresh])
        self.gain = np.append(self.gain, made.gain[fresh])
        self.opened = np.hstack([self.opened, made.opened[:, fresh]])
        return np.arange(first, len(self))

    def visit(self, column: int) -> Visit:
        """Return the visit a column stands for."""
        jobs = tuple(self.flat.jobs.of[number] for number in self.jobs[column])
        return Visit(
            self.flat.boats[self.boat[column]],
            int(self.week[column]),
            jobs,
            hours=float(self.hours[column]),
            cost=float(self.cost[column]),
            avoided=sum((job.avoided for job in jobs), 0.0),
            worth=float(self.gain[column]),
        )

    def _is_new(self, boat: int, week: int, jobs: Ints) -> bool:
        key = (boat, week, jobs.tobytes())
        if key in self._known:
            return False
        self._known.add(key)
        return True


class _Sums:
    """What visits take and gain, accesses counted once; shape (c,)."""

    def __init__(self, flat: Flat, boat: Ints, asked: Ints, job: Ints) -> None:
        count = len(boat)
        pairs = np.unique(np.stack([asked, flat.jobs.bundle[job]]), axis=1)
        visit, bundle = pairs

        def summed(of_jobs: Floats, of_bundles: Floats) -> Floats:
            whole = np.bincount(asked, of_jobs[job], count)
            return np.asarray(whole + np.bincount(visit, of_bundles[bundle], count), dtype=np.float64)

        self.hours = summed(flat.jobs.hours, flat.bundles.hours)
        self.cost = summed(flat.jobs.cost, flat.bundles.cost)
        self.gain = summed(flat.jobs.worth, -flat.bundles.worth)
        access = flat.bundles.access[bundle]
        self.opened = np.array(
            [np.bincount(visit, access == number, count) for number in range(len(flat.accesses))]
        ).reshape(len(flat.accesses), count)
        wanted = np.bincount(flat.bundles.boat[flat.jobs.bundle], flat.jobs.is_fixed, len(flat.boats))
        self.has_fixed: Flags = np.bincount(asked, flat.jobs.is_fixed[job], count) >= wanted[boat]
