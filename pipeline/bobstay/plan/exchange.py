"""Boats exchanged between weeks, one of each week at a time and all weeks at once.

Every week gives up one boat, or an empty place; the boats given up and those that wait are then assigned to the weeks
in the best of all ways (cyclic exchange; Thompson and Psaraftis, Operations Research 41(5), 1993, from memory). What a
week gains with a boat is exact: its hours are shared anew among all its boats. The prices of what the whole plan is
short of hold its use down; they are lowered step by step, so that what is left is used up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from bobstay.plan.frontier import Prices
from bobstay.plan.ledger import Ledger
from bobstay.plan.sharing import NOBODY, Sharing, sharing

if TYPE_CHECKING:
    from bobstay.plan.flat import Flags, Floats, Ints
    from bobstay.plan.pool import Pool
    from bobstay.plan.relaxed import Market, Relaxed

_SHARES = (1.0, 0.6, 0.3, 0.0)  # of the prices of money, hours and accesses of the whole plan
_IDLE = 8  # turns that hardly gain, until the next share
_HARDLY = 1e-5
_GAIN = 1e-6
_WAITING = 300  # boats a week that wait and are thought of
_SHUT = -2  # stands for a week with nothing to give up


@dataclass(frozen=True, slots=True)
class _Offer:
    """What each week keeps (w, s), what it gives up (w,): a boat, NOBODY for an empty place, or it is shut."""

    kept: Ints
    given: Ints


def exchanged(pool: Pool, market: Market, found: Relaxed, chosen: Ints, *, turns: int, enough: float) -> Ints:
    """Return the columns of the best plan met in so many turns at each share, or of one that gains `enough`."""
    best, ledger = chosen, Ledger(pool, chosen)
    for share in _SHARES if _is_short(found.dual.whole) else (1.0,):
        trade = _Trade(pool, market, found, ledger, share)
        idle = 0
        for turn in range(turns):
            gained = trade.turn(turn)
            if pool.gain[ledger.chosen].sum() > pool.gain[best].sum():
                best = ledger.chosen
            if pool.gain[best].sum() >= enough:
                return best
            idle = 0 if gained > _HARDLY * found.bound else idle + 1
            if idle >= _IDLE:
                break
    return best


def _is_short(whole: Prices) -> bool:
    return bool(whole.money > 0 or whole.hour > 0 or (whole.access > 0).any())


class _Trade:
    """Exchanges at given prices."""

    def __init__(self, pool: Pool, market: Market, found: Relaxed, ledger: Ledger, share: float) -> None:
        whole = found.dual.whole
        self._whole = Prices(share * whole.money, share * whole.hour, share * whole.access)
        self._pool, self._ledger, self._gains = pool, ledger, found.gains
        self._makers = market.makers(self._whole)
        self._sharing: Sharing = sharing(pool.flat, self._makers, market.scale, self._whole)
        self._out = (pool.flat.out.T.astype(float) @ found.dual.out)[:, pool.flat.group]

    def turn(self, number: int) -> float:
        """Exchange once, and return what was gained at the prices."""
        offer = self._offer(number)
        tables = self._sharing.tables(offer.kept)
        taken = self._assigned(offer, tables[-1])
        last = self._sharing.one_more(tables[-1], taken)
        boats = np.hstack([offer.kept, taken[:, None]])
        columns = self._columns(boats, self._sharing.ends(boats, np.concatenate([tables, last[None]])))
        return self._kept_to(columns, _circles(offer.given, taken))

    def _offer(self, number: int) -> _Offer:
        """Draw what each week gives up; a boat that has her week already stays."""
        flat, chosen = self._pool.flat, self._ledger.chosen
        draws = np.random.default_rng(number).random(len(flat.hours))
        kept, given = [], np.full(len(flat.hours), _SHUT)
        order = np.argsort(self._pool.week[chosen], kind="stable")
        cuts = np.searchsorted(self._pool.week[chosen][order], np.arange(1, len(flat.hours)))
        for week, mine in enumerate(np.split(self._pool.boat[chosen][order], cuts)):
            free = mine[~flat.must[mine]]
            empty = [NOBODY] * max(1, len(free) // 2) if len(mine) < flat.places[week] else []
            may = np.append(free, np.array(empty, dtype=np.int64))
            if len(may):
                given[week] = may[int(draws[week] * len(may))]
            kept.append(mine[mine != given[week]])
        places = max(map(len, kept), default=0)
        filled = [np.append(mine, np.full(places - len(mine), NOBODY)) for mine in kept]
        return _Offer(np.array(filled, dtype=np.int64).reshape(len(kept), places), given)

    def _assigned(self, offer: _Offer, table: Floats) -> Ints:
        """Return the boat each week takes, or NOBODY."""
        waiting = self._ledger.waiting
        boats = np.concatenate([offer.given[offer.given >= 0], waiting])
        value = np.zeros((len(offer.given), len(boats)))
        for week in np.flatnonzero(offer.given != _SHUT).tolist():
            asked = np.flatnonzero(self._may_ask(week, boats, len(boats) - len(waiting)))
            value[week, asked] = self._sharing.with_each(week, table[week], boats[asked])
            value[week, asked] -= table[week, self._sharing.limit[week]] + self._out[week, boats[asked]]
        rows, places = linear_sum_assignment(np.maximum(value, 0.0), maximize=True)
        taken = np.full(len(offer.given), NOBODY)
        goes = value[rows, places] > _GAIN
        taken[rows[goes]] = boats[places[goes]]
        return taken

    def _may_ask(self, week: int, boats: Ints, first: int) -> Flags:
        """Say which boats can come that week: of those that wait, from `first` on, only the ones that gain most."""
        may = self._pool.flat.reach[boats, week]
        waiting = self._gains[week, boats[first:]]
        may[first + np.argsort(-waiting, kind="stable")[_WAITING:]] = False
        return np.asarray(may)

    def _columns(self, boats: Ints, ends: Ints) -> Ints:
        """Return (w, s) the visits that follow, -1 for none."""
        weeks, places = np.nonzero(boats != NOBODY)
        who, steps, made = boats[weeks, places], ends[weeks, places], np.full(boats.shape, -1)
        for kind, maker in enumerate(self._makers):
            here = self._pool.flat.week_kind[weeks] == kind
            if here.any():
                jobs = maker.jobs_of(who[here], steps[here])
                made[weeks[here], places[here]] = self._pool.add(who[here], weeks[here], jobs)
        return made

    def _kept_to(self, columns: Ints, circle: Ints) -> float:
        """Make the changes of each circle of weeks that gain, best first, where all limits hold; return the gain."""
        pool, ledger, chosen = self._pool, self._ledger, self._ledger.chosen
        new = np.sort(columns[columns >= 0])
        new = new[[pool.flat.must[pool.boat[one]] or len(pool.jobs[one]) > 0 for one in new]]
        count = int(circle.max(initial=-1)) + 1
        gain = np.zeros(count)
        np.add.at(gain, circle[pool.week[new]], self._worth(new))
        np.subtract.at(gain, circle[pool.week[chosen]], self._worth(chosen))
        lost = np.setdiff1d(np.flatnonzero(pool.flat.must), pool.boat[new])
        gain[circle[pool.week[chosen[np.isin(pool.boat[chosen], lost)]]]] = -np.inf
        done = 0.0
        for number in np.argsort(-gain, kind="stable")[: np.count_nonzero(gain > _GAIN)]:
            old = chosen[circle[pool.week[chosen]] == number]
            if ledger.changed(old, new[circle[pool.week[new]] == number]):
                done += float(gain[number])
        return done

    def _worth(self, columns: Ints) -> Floats:
        pool, whole = self._pool, self._whole
        use = whole.money * pool.cost[columns] + whole.hour * pool.hours[columns]
        return np.asarray(pool.gain[columns] - use - whole.access @ pool.opened[:, columns])


def _circles(given: Ints, taken: Ints) -> Ints:
    """Return for each week the number of its circle: weeks between which boats go are of one."""
    came_from = {int(boat): week for week, boat in enumerate(given) if boat >= 0}
    pairs = [(week, came_from[int(boat)]) for week, boat in enumerate(taken) if int(boat) in came_from]
    ends = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    links = csr_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(given), len(given)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)
