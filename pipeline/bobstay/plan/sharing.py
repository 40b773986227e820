"""How the boats of each week share its hours: what a week gains at most, for all weeks at once.

Each boat takes one of her choices of hours, together within those of the week: the multiple-choice knapsack (Kellerer,
Pferschy and Pisinger, Knapsack Problems, 2004, chapter 11, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from bobstay.plan.flat import Flat, Floats, Ints
    from bobstay.plan.frontier import Frontier, Prices, Scale

NOBODY = -1
_STEPS_MAX = 1000  # of a week; finer steps are taken several at a time, a visit rounded up


@dataclass(frozen=True, slots=True)
class Sharing:
    """`gains` (n, c) by kind of week: the most each boat gains within so many strides of hours, at given prices.

    `limit` (w,) is what each week has, in strides of `stride` steps of hours.
    """

    week_kind: Ints
    gains: tuple[Floats, ...]
    limit: Ints
    stride: int

    def tables(self, boats: Ints) -> Floats:
        """Return (s + 1, w, l): the most each week gains within each number of strides with its first s boats.

        `boats` (w, s), NOBODY where a week has fewer.
        """
        weeks, places = boats.shape
        made = np.zeros((places + 1, weeks, int(self.limit.max(initial=0)) + 1))
        for place in range(places):
            made[place + 1] = self.one_more(made[place], boats[:, place])
        return made

    def one_more(self, table: Floats, boat: Ints) -> Floats:
        """Return the table (w, l) with one more boat a week (none where NOBODY)."""
        made, rows = table.copy(), np.flatnonzero(boat != NOBODY)
        gain, before = self._gains_of(rows, boat[rows]), table[rows]
        best = before + gain[:, :1]
        for strides in range(1, gain.shape[1]):
            np.maximum(best[:, strides:], before[:, :-strides] + gain[:, strides, None], out=best[:, strides:])
        made[rows] = best
        return made

    def ends(self, boats: Ints, tables: Floats) -> Ints:
        """Return (w, s): the steps of hours each boat gets in the best sharing; `tables` as from `tables`."""
        left, ends = self.limit.copy(), np.zeros(boats.shape, dtype=np.int64)
        for place in range(boats.shape[1] - 1, -1, -1):
            rows = np.flatnonzero(boats[:, place] != NOBODY)
            gain = self._gains_of(rows, boats[rows, place])
            rest = left[rows, None] - np.arange(gain.shape[1])
            value = gain + np.take_along_axis(tables[place][rows], np.maximum(rest, 0), axis=1)
            took = np.where(rest >= 0, value, -np.inf).argmax(axis=1)
            ends[rows, place] = took * self.stride
            left[rows] -= took
        return ends

    def with_each(self, week: int, table: Floats, boats: Ints) -> Floats:
        """Return what the week gains at most with each of `boats` in turn, beside those of `table` (l,)."""
        limit, gain = int(self.limit[week]), self.gains[self.week_kind[week]]
        most = min(limit + 1, gain.shape[1])
        return np.asarray((gain[boats, :most] + table[limit - np.arange(most)]).max(axis=1))

    def _gains_of(self, weeks: Ints, boats: Ints) -> Floats:
        most = min(int(self.limit.max(initial=0)) + 1, self.gains[0].shape[1])
        return np.stack([gain[:, :most] for gain in self.gains])[self.week_kind[weeks], boats]


def sharing(flat: Flat, frontiers: tuple[Frontier, ...], scale: Scale, whole: Prices) -> Sharing:
    """Return the terms on which boats share weeks, money and accesses priced in `frontiers`, hours here."""
    if np.isinf(scale.step):
        limit = np.zeros(len(flat.hours), dtype=np.int64)
        return Sharing(flat.week_kind, tuple(one.gain for one in frontiers), limit, 1)
    most = np.minimum(flat.hours, flat.yard.hours) / scale.step + 1e-6
    steps = np.minimum(most, flat.places * (scale.count - 1)).astype(np.int64)
    stride = int(steps.max(initial=0)) // _STEPS_MAX + 1
    price = whole.hour * scale.step * np.arange(scale.count)
    gains = tuple((one.gain - price)[:, ::stride] for one in frontiers)
    return Sharing(flat.week_kind, gains, steps // stride, stride)
