"""The cheapest expected choice for each fitting: test, renew or leave. Arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from bobstay.settings import Costs, Rates

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stakes:
    """What is at stake at each fitting, arrays of shape (n,): chances, cost units, its share of the access cost."""

    chance: Floats  # of a crack by the end of the horizon
    chance_now: Floats  # of a crack that is there already: all a test can find
    units: Floats  # cost units of a failure
    access_share: Floats  # cost units


@dataclass(frozen=True, slots=True)
class Choice:
    """Expected cost of each way, in cost units, shape (n,); `method` numbers the best of the methods offered.

    `ways` (2 + methods, n) has them all: leave, replace, then a test by each method offered, in order.
    """

    leave: Floats
    replace: Floats
    test: Floats
    method: NDArray[np.int64]
    found: Floats
    ways: Floats


def weigh(stakes: Stakes, offered: Sequence[Rates], costs: Costs) -> Choice:
    """Weigh the three ways for fittings that may all be tested by the methods `offered` (at least one).

    A crack left in place fails within the horizon with chance `costs.failure`. A test finds what is there already
    with its chance; every indication, false calls too, is paid with a renewal. A new part starts with no chance.
    Own reckoning from the settings, no published source.
    """
    left = stakes.chance * costs.failure * stakes.units
    renewed = np.full_like(left, costs.replace) + stakes.access_share
    tests = np.stack([_test_cost(stakes, rates, costs) for rates in offered])
    best = np.argmin(np.nan_to_num(tests, nan=np.inf), axis=0)
    found = np.array([rates.found for rates in offered])[best]
    return Choice(
        leave=left,
        replace=renewed,
        test=np.take_along_axis(tests, best[None, :], axis=0)[0],
        method=best,
        found=found,
        ways=np.concatenate([left[None, :], np.where(np.isnan(left), np.nan, renewed)[None, :], tests]),
    )


def next_best(ways: Floats, chosen: NDArray[np.int64]) -> tuple[NDArray[np.int64], Floats]:
    """Return the cheapest way besides the one chosen, (n,), and how much dearer it is; NaN where nothing is known.

    `ways` (w, n) as in Choice; `chosen` (n,) numbers a row of it. Below 0 where the chosen way is not the cheapest.
    """
    here = np.arange(ways.shape[1])
    others = np.nan_to_num(ways, nan=np.inf)
    others[chosen, here] = np.inf
    second = np.argmin(others, axis=0)
    return second, ways[second, here] - ways[chosen, here]


def _test_cost(stakes: Stakes, rates: Rates, costs: Costs) -> Floats:
    seen = rates.found * stakes.chance_now + rates.false_call * (1 - stakes.chance_now)
    missed = stakes.chance - rates.found * stakes.chance_now
    paid = costs.test + stakes.access_share + seen * costs.replace
    return np.asarray(paid + missed * costs.failure * stakes.units, dtype=np.float64)
