"""What each boat can gain at most within so many hours: a knapsack with a price of entry for each access.

Solved for all boats at once by dynamic programming over hours in even steps (Kellerer, Pferschy and Pisinger, Knapsack
Problems, 2004, chapter 2, from memory; the price of entry is handled by a second row for "this access is open").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bobstay.plan.flat import Flags, Flat, Floats, Ints, Kind

_STEPS_MAX = 640
_STEPS_TRIED = (1.0, 0.5, 0.25, 0.1, 0.05)  # hours
FIXED = 1e7  # stands for "must be done" while searching; taken off again
_EVEN = 1e-6
_NOTHING = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Scale:
    """Steps of hours: an hour is `1 / step` steps; where jobs are not of whole steps, rounding favours the bound."""

    step: float
    count: int
    is_exact: bool

    def steps(self, hours: Floats, *, up: bool) -> Ints:
        """Return hours in whole steps, rounded up for plans and down for bounds."""
        exact = hours / self.step
        rounded = np.ceil(exact - _EVEN) if up else np.floor(exact + _EVEN)
        return rounded.astype(np.int64)


@dataclass(frozen=True, slots=True)
class Prices:
    """Cost units that scarce things are worth: a unit of money, an hour, an access opened."""

    money: float
    hour: float
    access: Floats  # (a,)


@dataclass(frozen=True, slots=True)
class _Step:
    """One decision of the programme: for which boats, what it takes, and at which steps it paid (empty: undecided)."""

    what: Literal["open", "job", "close"]
    rows: Ints
    number: Ints  # the job, or nothing
    lag: Ints
    is_taken: Flags  # (rows, steps)


@dataclass(frozen=True, slots=True)
class Frontier:
    """`gain` (n, steps): the most a boat gains within so many steps; `steps` the decisions that led there."""

    gain: Floats
    steps: tuple[_Step, ...]

    def jobs_of(self, boats: Ints, ends: Ints) -> tuple[Ints, Ints]:
        """Return (number of the asking, job) for each job of the best choice of each of `boats` within `ends` steps."""
        place = np.full(self.gain.shape[0], -1, dtype=np.int64)
        asked: list[Ints] = []
        found: list[Ints] = []
        ends, is_open = ends.copy(), np.zeros(len(boats), dtype=bool)
        for step in reversed(self.steps):
            place[:] = -1
            place[step.rows] = np.arange(len(step.rows))
            row = place[boats]
            here = np.flatnonzero((row >= 0) & (is_open | (step.what == "close")))
            if step.what != "open":
                here = here[step.is_taken[row[here], ends[here]]]
            ends[here] -= step.lag[row[here]]
            if step.what == "job":
                asked.append(here)
                found.append(step.number[row[here]])
            else:
                is_open[here] = step.what == "close"
        return np.concatenate([_NOTHING, *asked]), np.concatenate([_NOTHING, *found])


def scale_of(flat: Flat) -> Scale:
    """Return steps of hours fine enough for every job, as far as the table of steps stays small."""
    longest = _longest(flat)
    if not np.isfinite(flat.hours).any() and not np.isfinite(flat.yard.hours):
        return Scale(np.inf, 1, is_exact=True)
    hours = np.concatenate([flat.bundles.hours, flat.jobs.hours])
    for step in _STEPS_TRIED:
        if np.abs(hours / step - np.round(hours / step)).max(initial=0.0) < _EVEN and longest / step < _STEPS_MAX:
            return Scale(step, int(longest / step + _EVEN) + 1, is_exact=True)
    return Scale(longest / (_STEPS_MAX - 1), _STEPS_MAX, is_exact=False)


def _longest(flat: Flat) -> float:
    """Return the hours of the longest visit worth thinking of."""
    boats = len(flat.boats)
    whole = np.bincount(flat.bundles.boat, flat.bundles.hours, boats)
    whole += np.bincount(flat.bundles.boat[flat.jobs.bundle], flat.jobs.hours, boats)
    return float(min(whole.max(initial=0.0), max((kind.cap for kind in flat.kinds), default=0.0)))


def frontier(flat: Flat, kind: Kind, prices: Prices, scale: Scale, *, up: bool) -> Frontier:
    """Return the most each boat gains in weeks of `kind` within each number of hours, money and accesses priced.

    Jobs that a boat must have (`Yard.fixed`) are in every choice of finite gain.
    """
    bundles, jobs = flat.bundles, flat.jobs
    table = _Table(len(flat.boats), scale.count)
    entry = -bundles.worth - prices.money * bundles.cost
    entry -= np.where(bundles.access >= 0, prices.access[bundles.access] if len(prices.access) else 0.0, 0.0)
    gain = jobs.worth - prices.money * jobs.cost + FIXED * jobs.is_fixed
    useful = kind.can & (gain > 0)
    lag = _lags(flat, scale, up=up)
    for rows, opened, groups in _rounds(flat, useful):
        table.open(rows, lag.bundle[opened], entry[opened])
        for at, chosen in groups:
            table.add(at, chosen, lag.job[chosen], gain[chosen])
        table.close()
    fixed = np.bincount(bundles.boat[jobs.bundle], jobs.is_fixed, len(flat.boats))
    return Frontier(table.best - FIXED * fixed[:, None], tuple(table.steps))


@dataclass(frozen=True, slots=True)
class _Lags:
    bundle: Ints
    job: Ints


def _lags(flat: Flat, scale: Scale, *, up: bool) -> _Lags:
    if np.isinf(scale.step):
        return _Lags(np.zeros(len(flat.bundles.boat), dtype=np.int64), np.zeros(len(flat.jobs.bundle), dtype=np.int64))
    return _Lags(scale.steps(flat.bundles.hours, up=up), scale.steps(flat.jobs.hours, up=up))


def _rounds(flat: Flat, useful: Flags) -> Iterator[tuple[Ints, Ints, list[tuple[Ints, Ints]]]]:
    """Yield the bundles that are first, second, ... in their boats, with their useful jobs by place."""
    count = np.bincount(flat.jobs.bundle, useful, len(flat.bundles.boat))
    for place in range(int(flat.bundles.place.max(initial=-1)) + 1):
        opened = np.flatnonzero((flat.bundles.place == place) & (count > 0))
        if not len(opened):
            continue
        row = np.full(len(flat.bundles.boat), -1, dtype=np.int64)
        row[opened] = np.arange(len(opened))
        mine = np.flatnonzero(useful & (row[flat.jobs.bundle] >= 0))
        groups = [
            (row[flat.jobs.bundle[chosen]], chosen)
            for at in range(int(flat.jobs.place[mine].max(initial=-1)) + 1)
            if len(chosen := mine[flat.jobs.place[mine] == at])
        ]
        yield flat.bundles.boat[opened], opened, groups


class _Table:
    """The table while it grows: `best` for each boat, and a second one for the boats whose next access is open."""

    def __init__(self, boats: int, steps: int) -> None:
        self.best = np.zeros((boats, steps))
        self.steps: list[_Step] = []
        self._rows = _NOTHING
        self._gain = np.zeros((0, steps))

    def open(self, rows: Ints, lag: Ints, gain: Floats) -> None:
        """Open an access for the boats in `rows`."""
        self._rows = rows
        at, there = self._before(lag)
        self._gain = np.where(there, np.take_along_axis(self.best[rows], at, axis=1) + gain[:, None], -np.inf)
        self.steps.append(_Step("open", rows, _NOTHING, lag, np.zeros((0, 0), dtype=bool)))

    def add(self, at: Ints, number: Ints, lag: Ints, gain: Floats) -> None:
        """Offer one job more to some of the boats whose access is open (`at` counts among them)."""
        before, there = self._before(lag)
        old = self._gain[at]
        new = np.where(there, np.take_along_axis(old, before, axis=1) + gain[:, None], -np.inf)
        taken = new > old
        self._gain[at] = np.where(taken, new, old)
        self.steps.append(_Step("job", self._rows[at], number, lag, taken))

    def close(self) -> None:
        """Keep the open access where it pays."""
        rows = self._rows
        taken = self._gain > self.best[rows]
        self.best[rows] = np.where(taken, self._gain, self.best[rows])
        self.steps.append(_Step("close", rows, _NOTHING, np.zeros(len(rows), dtype=np.int64), taken))

    def _before(self, lag: Ints) -> tuple[Ints, Flags]:
        at = np.arange(self.best.shape[1])[None, :] - lag[:, None]
        return np.maximum(at, 0), at >= 0
