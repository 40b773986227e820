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
        self._known: dict[tuple[int, int, bytes], int] = {}

    def __len__(self) -> int:
        return len(self.jobs)

    def add(self, boat: Ints, week: Ints, chosen: tuple[Ints, Ints]) -> Ints:
        """Take in visits, `chosen` as (which of them, job); return their numbers, -1 where their own limits break."""
        asked, job = chosen
        job = job[np.lexsort((job, asked))]
        sets = np.split(job, np.cumsum(np.bincount(asked, minlength=len(boat)))[:-1])
        made = _Sums(self.flat, boat, np.sort(asked), job)
        fits = (made.hours <= self.flat.hours[week] + _CLOSE) & (made.cost <= self.flat.yard.budget + _CLOSE)
        fits &= made.has_fixed
        numbers, fresh = np.full(len(boat), -1), []
        for i in np.flatnonzero(fits).tolist():
            number = self._number(int(boat[i]), int(week[i]), sets[i])
            numbers[i] = number
            if number == len(self.jobs):
                self.jobs.append(sets[i])
                fresh.append(i)
        self._append(boat[fresh], week[fresh], made, fresh)
        return numbers

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

    def _number(self, boat: int, week: int, jobs: Ints) -> int:
        """Return the number of a visit: the next one where it is new."""
        return self._known.setdefault((boat, week, jobs.tobytes()), len(self.jobs))

    def _append(self, boat: Ints, week: Ints, made: _Sums, fresh: list[int]) -> None:
        self.boat, self.week = np.append(self.boat, boat), np.append(self.week, week)
        self.hours, self.cost = np.append(self.hours, made.hours[fresh]), np.append(self.cost, made.cost[fresh])
        self.gain = np.append(self.gain, made.gain[fresh])
        self.opened = np.hstack([self.opened, made.opened[:, fresh]])


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
