"""The plan's visits and their bound, with an effort that suits the number of boats."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.plan.flat import flatten
from bobstay.plan.pool import Pool
from bobstay.plan.relaxed import Market, Relaxed, relaxed
from bobstay.plan.search import Effort, searched
from bobstay.plan.urgent import most_urgent_first

if TYPE_CHECKING:
    from bobstay.plan.record import Visit, Yard

_FEW, _MANY = 120, 1500  # boats
_SAMPLE = 400  # boats whose prices stand for those of all, where there are many


@dataclass(frozen=True, slots=True)
class Solved:
    """Visits, the most that any plan could gain (net, cost units), and the prices of what is scarce."""

    visits: tuple[Visit, ...]
    bound: float
    worth_of_place: tuple[float, ...]  # by week: a place, with the hours that go with it
    is_sampled: bool
    is_within: bool  # of the gap aimed at; else a limit on the steps of the search ended it


NOTHING = Solved((), 0.0, (), is_sampled=False, is_within=True)


def solved(yard: Yard, *, quick: bool = False) -> Solved:
    """Return the best plan found for `yard`; `quick` for one of many plans that are only compared."""
    boats = len(yard.bundles)
    flat = flatten(yard)
    pool, market = Pool(flat), Market(flat)
    found = _relaxed(yard, pool, market, near=5e-4 if boats <= _FEW else 2e-3)
    effort = _effort(boats, quick=quick)
    chosen = searched(pool, market, found, effort)
    place = np.where(flat.places > 0, found.dual.place, 0.0)
    hours = np.divide(
        flat.hours, flat.places, out=np.zeros_like(place), where=np.isfinite(flat.hours) & (flat.places > 0)
    )
    visits = sorted((pool.visit(int(c)) for c in chosen), key=lambda visit: visit.boat_id)
    return Solved(
        visits=tuple(visits) if quick else most_urgent_first(yard, visits),
        bound=found.bound,
        worth_of_place=tuple((place + found.dual.hour * hours).tolist()),
        is_sampled=boats > _MANY,
        is_within=bool(pool.gain[chosen].sum() >= found.bound * (1 - effort.gap)),
    )


def _relaxed(yard: Yard, pool: Pool, market: Market, *, near: float) -> Relaxed:
    boats = len(yard.bundles)
    if boats <= _MANY:
        return relaxed(pool, market, near=near)
    few = flatten(yard, every=boats // _SAMPLE)
    sample = Pool(few)
    dual = relaxed(sample, Market(few), near=near).dual
    return relaxed(pool, market, start=dual, rounds=0)


def _effort(boats: int, *, quick: bool) -> Effort:
    if quick:
        return Effort(turns=12, windows=3, gap=1e-3) if boats <= _FEW else Effort(turns=12, windows=0, gap=0.01)
    if boats <= _FEW:
        return Effort(turns=60, windows=5, gap=1e-3)
    return Effort(turns=60, windows=6, gap=0.01) if boats <= _MANY else Effort(turns=60, windows=0, gap=0.02)
