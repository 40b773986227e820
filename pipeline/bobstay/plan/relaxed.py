"""An upper bound on what any plan can gain: scarce things get prices, and each boat then takes her best week.

Any prices give a bound (Lagrangian relaxation; Fisher, Management Science 27(1), 1981, from memory); good ones are
found by generating columns, the prices drawn towards the best so far (Wentges 1997, from memory). Within a visit
nothing is relaxed: it keeps the hours of its week.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.plan.frontier import Frontier, Prices, Scale, frontier, scale_of
from bobstay.plan.programme import prices

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.plan.flat import Flat, Floats, Ints
    from bobstay.plan.pool import Pool

_ROUNDS = 40
_NEAR = 2e-3
_INERTIA = 0.5
_SEEDS = 6
_NEVER = -1e18


@dataclass(frozen=True, slots=True)
class Dual:
    """Prices in cost units: of an hour of each week (w,), a place (w,), a boat out (m, g), and those of the plan."""

    hour: Floats
    place: Floats
    out: Floats
    whole: Prices

    def towards(self, other: Dual, share: float) -> Dual:
        """Return prices `share` of the way to `other`."""

        def mixed(a: Floats, b: Floats) -> Floats:
            return np.asarray((1 - share) * a + share * b)

        whole = Prices(
            (1 - share) * self.whole.money + share * other.whole.money,
            (1 - share) * self.whole.hour + share * other.whole.hour,
            mixed(self.whole.access, other.whole.access),
        )
        return Dual(
            mixed(self.hour, other.hour),
            mixed(self.place, other.place),
            mixed(self.out, other.out),
            whole,
        )


@dataclass(frozen=True, slots=True)
class Answer:
    """What boats do at given prices: the bound on net gain, each boat's gain each week (w, n), the steps it takes."""

    bound: float
    gains: Floats
    ends: Ints
    frontiers: tuple[Frontier, ...]


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The least bound found on net gain and its prices; `is_settled` where more rounds would hardly lower it."""

    bound: float
    dual: Dual
    gains: Floats
    shares: Floats  # how much of each column the relaxation takes
    is_settled: bool


def relaxed(
    pool: Pool, market: Market, *, start: Dual | None = None, near: float = _NEAR, rounds: int = _ROUNDS
) -> Relaxed:
    """Return the least bound found in so many rounds; the visits thought of on the way end in `pool`.

    The prices begin at `start` where somebody knows them nearly, else at nought.
    """
    flat = pool.flat
    best_dual = start or _free(flat)
    best, shares = market.answer(best_dual), np.zeros(len(pool))
    if start is None:
        _seed(pool, market, best)
    else:
        market.columns(pool, best, None, each=_SEEDS)
    for _ in range(rounds):
        value, row, shares = prices(pool, np.arange(len(pool)))
        dual, worth = _read(flat, row)
        if best.bound - value <= near * best.bound:
            return Relaxed(best.bound, best_dual, best.gains, shares, is_settled=True)
        for share in (_INERTIA, 1.0):
            tried = best_dual.towards(dual, share)
            answer = market.answer(tried)
            added = market.columns(pool, answer, worth if share == 1.0 else None)
            if answer.bound < best.bound:
                best, best_dual = answer, tried
            if added:
                break
    return Relaxed(best.bound, best_dual, best.gains, shares, is_settled=False)


def _free(flat: Flat) -> Dual:
    weeks = np.zeros(len(flat.hours))
    out = np.zeros((flat.out.shape[0], len(flat.out_max)))
    return Dual(weeks, weeks, out, Prices(0.0, 0.0, np.zeros(len(flat.accesses))))


def _read(flat: Flat, row: Floats) -> tuple[Dual, Floats]:
    """Return the prices of a programme in their places, and what each boat gains at them."""
    weeks, (marks, groups) = len(flat.hours), (flat.out.shape[0], len(flat.out_max))
    cuts = np.cumsum([len(flat.boats), weeks, weeks, marks * groups, 1, 1])
    boat, place, hour, out, money, all_hours, access = np.split(row, cuts)
    whole = Prices(float(money[0]), float(all_hours[0]), access)
    return Dual(hour, place, out.reshape(groups, marks).T, whole), boat


def _seed(pool: Pool, market: Market, answer: Answer) -> None:
    """Put each boat's best visit into some of her weeks, spread over the season."""
    flat = pool.flat
    for turn in range(_SEEDS):
        boats, weeks = [], []
        for boat in range(len(flat.boats)):
            mine = np.flatnonzero(flat.reach[boat])
            if len(mine):
                boats.append(boat)
                weeks.append(mine[(boat + turn * max(1, len(mine) // _SEEDS)) % len(mine)])
        market.add(pool, answer, np.array(boats, dtype=np.int64), np.array(weeks, dtype=np.int64))


class Market:
    """What the boats would do at given prices."""

    def __init__(self, flat: Flat) -> None:
        self.flat, self.scale = flat, scale_of(flat)
        self._caps = _cap_steps(flat, self.scale)
        self._whole: Prices | None = None
        self._frontiers: tuple[Frontier, ...] = ()
        self._makers: tuple[Frontier, ...] = ()  # of visits that keep their week's hours where steps are not exact

    def answer(self, dual: Dual) -> Answer:
        """Return what each boat would do, and the bound that follows."""
        flat = self.flat
        self._price(dual.whole)
        step = 0.0 if np.isinf(self.scale.step) else self.scale.step
        hours = np.arange(self.scale.count) * step
        gains = np.empty((len(flat.hours), len(flat.boats)))
        ends = np.empty(gains.shape, dtype=np.int64)
        for week, (kind, cap) in enumerate(zip(flat.week_kind, self._caps, strict=True)):
            net = self._frontiers[kind].gain[:, :cap] - (dual.hour[week] + dual.whole.hour) * hours[:cap]
            ends[week] = net.argmax(axis=1)
            gains[week] = np.take_along_axis(net, ends[week][:, None], axis=1)[:, 0]
        gains -= dual.place[:, None] + (flat.out.T.astype(float) @ dual.out)[:, flat.group]
        gains = np.where(flat.reach.T, gains, _NEVER)
        best = gains.max(axis=0, initial=_NEVER)
        bound = float(best[(best > 0) | flat.must].sum()) + _worth_of_limits(flat, dual)
        return Answer(bound, gains, ends, self._makers)

    def columns(self, pool: Pool, answer: Answer, worth: Floats | None, each: int = 2) -> int:
        """Add each boat's best weeks to the pool where they gain (more than `worth`); return how many were new."""
        before = len(pool)
        order = np.argsort(-answer.gains, axis=0, kind="stable")[:each]
        for week in order:
            gain = answer.gains[week, np.arange(len(week))]
            least = 0.0 if worth is None else worth + 1e-9
            mine = np.flatnonzero((gain > least) | (self.flat.must & (gain > _NEVER / 2)))
            self.add(pool, answer, mine, week[mine])
        return len(pool) - before

    def add(self, pool: Pool, answer: Answer, boats: Ints, weeks: Ints) -> None:
        """Add the visits that the boats would make in those weeks."""
        for number, made in enumerate(answer.frontiers):
            here = self.flat.week_kind[weeks] == number
            mine, when = boats[here], weeks[here]
            if len(mine):
                pool.add(mine, when, made.jobs_of(mine, answer.ends[when, mine]))

    def vary(
        self,
        pool: Pool,
        found: Relaxed,
        boats: Ints,
        weeks: Ints,
        factors: Sequence[float],
        *,
        hours: float = np.inf,
    ) -> None:
        """Add visits of `boats` in `weeks` within `hours`, at several multiples of the price of an hour."""
        self._price(found.dual.whole)
        step = 0.0 if np.isinf(self.scale.step) else self.scale.step
        usual = float(found.dual.hour.mean())
        for week in weeks:
            mine = boats[self.flat.reach[boats, week]]
            made = self._makers[self.flat.week_kind[week]]
            cap = (
                self._caps[week]
                if step == 0.0 or np.isinf(hours)
                else min(self._caps[week], int(hours / step + 1e-6) + 1)
            )
            for factor in factors:
                price = factor * (max(usual, found.dual.hour[week]) + found.dual.whole.hour)
                ends = (made.gain[mine, :cap] - price * step * np.arange(cap)).argmax(axis=1)
                pool.add(mine, np.full(len(mine), week), made.jobs_of(mine, ends))

    def makers(self, whole: Prices) -> tuple[Frontier, ...]:
        """Return, by kind of week, what boats gain within each number of steps at these prices, and by which jobs."""
        self._price(whole)
        return self._makers

    def _price(self, whole: Prices) -> None:
        """Solve all boats' knapsacks anew where the prices of money or accesses have changed."""
        old = self._whole
        if old is not None and old.money == whole.money and np.array_equal(old.access, whole.access):
            return
        self._whole = whole
        flat, scale = self.flat, self.scale
        self._frontiers = tuple(frontier(flat, kind, whole, scale, up=False) for kind in flat.kinds)
        self._makers = self._frontiers
        if not scale.is_exact:
            self._makers = tuple(frontier(flat, kind, whole, scale, up=True) for kind in flat.kinds)


def _worth_of_limits(flat: Flat, dual: Dual) -> float:
    """Return what all that is scarce is worth at its prices; what nothing limits has no price."""
    offered = [sum(week.offers(access) for week in flat.yard.weeks) for access in flat.accesses]
    pairs = [
        (dual.hour, flat.hours),
        (dual.place, flat.places),
        (dual.out.sum(axis=0), flat.out_max),
        (np.array([dual.whole.money, dual.whole.hour]), np.array([flat.yard.budget, flat.yard.hours])),
        (dual.whole.access, flat.access_max * np.array(offered, dtype=float)),
    ]
    return flat.share * float(sum(price[price > 0] @ limit[price > 0] for price, limit in pairs))


def _cap_steps(flat: Flat, scale: Scale) -> Ints:
    """Return for each week how many steps of hours a visit may look at."""
    if np.isinf(scale.step):
        return np.ones(len(flat.hours), dtype=np.int64)
    most = np.minimum(flat.hours, flat.yard.hours) / scale.step + 1e-6
    return np.minimum(most, scale.count - 1).astype(np.int64) + 1
