"""Whole boats to whole weeks: the relaxation rounded, boats exchanged, then a few weeks placed anew at a time.

Weeks are placed anew by small exact programmes. The neighbourhoods are fixed beforehand and each programme stops at a
count of nodes, never at a time, so equal inputs give equal plans on any machine (large neighbourhood search; Shaw 1998,
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count, islice
from typing import TYPE_CHECKING

import numpy as np

from bobstay.plan.exchange import exchanged
from bobstay.plan.programme import best_of, room_left

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bobstay.plan.flat import Floats, Ints
    from bobstay.plan.pool import Pool
    from bobstay.plan.relaxed import Market, Relaxed

_FACTORS = (0.0, 0.3, 0.6, 1.0, 1.5, 2.5)  # of the price of an hour, for visits of more and of less work
_FILLING = (1.0, 3.0)
_TURNS = 25
_NEARLY = 0.9
_BOATS = (36, 12, 20)  # about so many boats are placed anew at a time, pass by pass
_WAITING = 30
_COLUMNS = 800
_NODES = 40
_GAP = 1e-3
_IDLE = 4  # windows that hardly gain, until the end
_HARDLY = 1e-5
_GAIN = 1e-6
_CLOSE = 1e-6


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to look: turns of exchange, windows placed anew, and the gap to the bound at which to stop."""

    turns: int
    windows: int
    gap: float


def searched(pool: Pool, market: Market, found: Relaxed, effort: Effort) -> Ints:
    """Return the columns of the best plan found."""
    enough = found.bound * (1 - effort.gap)
    chosen = filled(pool, market, found, rounded(pool, found))
    if pool.gain[chosen].sum() < enough:
        chosen = exchanged(pool, market, found, chosen, turns=effort.turns, enough=enough)
        chosen = filled(pool, market, found, chosen)
    idle = 0
    for weeks in islice(_windows(pool), effort.windows):
        before = pool.gain[chosen].sum()
        if before >= enough or idle >= _IDLE:
            break
        chosen = _anew(pool, market, found, chosen, weeks)
        idle = 0 if pool.gain[chosen].sum() > before * (1 + _HARDLY) else idle + 1
    return chosen


def rounded(pool: Pool, found: Relaxed) -> Ints:
    """Take visits while there is room: first those the relaxation takes whole, then by what they lose at its prices."""
    loss = losses(pool, np.arange(len(pool)), found)
    share = np.append(found.shares, np.zeros(len(pool) - len(found.shares)))
    order = np.lexsort((loss, -np.round(share, 3), ~pool.flat.must[pool.boat]))
    return taken_in_turn(pool, np.zeros(0, dtype=np.int64), order)


def taken_in_turn(pool: Pool, chosen: Ints, order: Ints) -> Ints:
    """Add the columns of `order` one by one where there is room and their boat has no visit yet."""
    room, taken = room_left(pool, chosen), list(chosen)
    money, all_hours, busy = room.money, room.all_hours, np.isin(np.arange(len(pool.flat.boats)), pool.boat[chosen])
    for column in order:
        boat, week = pool.boat[column], pool.week[column]
        marks, group = pool.flat.out[:, week], pool.flat.group[boat]
        hours, cost, opened = pool.hours[column], pool.cost[column], pool.opened[:, column]
        if (
            busy[boat]
            or room.places[week] < 1
            or room.hours[week] + _CLOSE < hours
            or money + _CLOSE < cost
            or all_hours + _CLOSE < hours
            or (room.out[marks, group] < 1).any()
            or (room.accesses[week] + _CLOSE < opened).any()
            or (pool.gain[column] <= 0 and not pool.flat.must[boat])
        ):
            continue
        busy[boat] = True
        room.places[week] -= 1
        room.hours[week] -= hours
        room.out[marks, group] -= 1
        room.accesses[week] -= opened
        money, all_hours = money - cost, all_hours - hours
        taken.append(column)
    return np.array(taken, dtype=np.int64)


def filled(pool: Pool, market: Market, found: Relaxed, chosen: Ints) -> Ints:
    """Offer boats that wait their best week with room, turn by turn, those that gain most first."""
    flat = pool.flat
    for turn in range(_TURNS):
        room = room_left(pool, chosen)
        waits = np.flatnonzero(~np.isin(np.arange(len(flat.boats)), pool.boat[chosen]))
        has_room = (room.places >= 1)[:, None] & (flat.out.T.astype(float) @ (room.out < 1) == 0)[:, flat.group[waits]]
        gains = np.where(has_room, found.gains[:, waits], -np.inf)
        # Weeks nearly as good as the best are drawn from, else all boats ask for the same one.
        drawn = np.random.default_rng(turn).random(gains.shape)
        week = np.where(gains >= _NEARLY * gains.max(axis=0, initial=0.0), drawn, -1.0).argmax(axis=0)
        goes = gains[week, np.arange(len(waits))] > 0
        if not goes.any():
            break
        first = len(pool)
        for number in np.unique(week[goes]):
            hours = float(min(room.hours[number], room.all_hours))
            market.vary(pool, found, waits[goes & (week == number)], np.array([number]), _FILLING, hours=hours)
        new = np.arange(first, len(pool))
        made = taken_in_turn(pool, chosen, new[np.argsort(losses(pool, new, found), kind="stable")])
        if len(made) == len(chosen):
            break
        chosen = made
    return chosen


def losses(pool: Pool, columns: Ints, found: Relaxed) -> Floats:
    """Return what each column loses at the prices of the relaxation, against its boat's best."""
    flat, dual = pool.flat, found.dual
    boat, week = pool.boat[columns], pool.week[columns]
    price = (dual.hour[week] + dual.whole.hour) * pool.hours[columns] + dual.whole.money * pool.cost[columns]
    price += dual.place[week] + (flat.out.T.astype(float) @ dual.out)[week, flat.group[boat]]
    price += dual.whole.access @ pool.opened[:, columns]
    best = found.gains.max(axis=0, initial=-np.inf)
    best = np.where(flat.must, best, np.maximum(best, 0.0))
    return np.asarray(best[boat] - (pool.gain[columns] - price))


def _windows(pool: Pool) -> Iterator[Ints]:
    """Yield sets of weeks that together hold some tens of boats: neighbours in time, then by slot, then drawn."""
    flat = pool.flat
    for number in count():
        weeks = np.arange(len(flat.hours))
        size = max(
            2, round(_BOATS[number % 3] / max(1.0, flat.places.sum() / len(weeks), len(flat.boats) / len(weeks) / 2))
        )
        if number % 3 == 1:
            slots = np.array([week.slot_id for week in flat.yard.weeks])
            weeks = weeks[np.argsort(slots, kind="stable")]
        elif number % 3 == 2:
            weeks = np.random.default_rng(number).permutation(weeks)
        for first in range(0, len(weeks), max(1, size // 2 if number % 3 == 0 else size)):
            yield np.sort(weeks[first : first + size])


def _anew(pool: Pool, market: Market, found: Relaxed, chosen: Ints, weeks: Ints) -> Ints:
    """Place the boats of `weeks` anew, with some that wait; keep what was where that gains nothing."""
    flat = pool.flat
    is_here = np.isin(pool.week[chosen], weeks)
    freed, kept = chosen[is_here], chosen[~is_here]
    here, boats = pool.boat[freed], np.zeros(len(flat.boats), dtype=bool)
    boats[here] = True
    gains = np.where(np.isin(np.arange(len(flat.boats)), pool.boat[chosen]), -np.inf, found.gains[weeks].max(axis=0))
    waiting = np.argsort(-gains, kind="stable")[:_WAITING]
    boats[waiting[np.isfinite(gains[waiting]) & (gains[waiting] > -1e17)]] = True
    market.vary(pool, found, np.flatnonzero(boats), weeks, _FACTORS)
    columns = np.flatnonzero(boats[pool.boat] & np.isin(pool.week, weeks) & ((pool.gain > 0) | flat.must[pool.boat]))
    columns = columns[np.argsort(losses(pool, columns, found), kind="stable")[:_COLUMNS]]
    columns = np.union1d(columns, freed)
    made, _ = best_of(pool, columns, room_left(pool, kept), gap=_GAP, nodes=_NODES)
    if pool.gain[made].sum() > pool.gain[freed].sum() + _GAIN:
        return np.concatenate([kept, made])
    return chosen
