"""Failures in service: how often cracked parts fail is estimated with all the rest.

A failure shows a crack for certain. Taken alone it would make cracks look more frequent than they are, for the cracked
parts that did not fail would speak of nothing; the years they stayed whole are therefore counted against them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay.joint.ascent import evenly
from bobstay.joint.polish import START_BOATS, Estimated, estimate, is_big
from bobstay.joint.rates import failed_code

if TYPE_CHECKING:
    from bobstay.joint.design import Design
    from bobstay.joint.fleet import Fleet
    from bobstay.joint.rates import RatePrior

FIRST_RATE = 0.01  # a year; where the search for it starts
ALIKE = 0.05  # relative change at which it rests
MOST_ROUNDS = 6


def estimate_with_failures(fleet: Fleet, design: Design, *, rates: RatePrior, **how: Any) -> Estimated:
    """Estimate as `polish.estimate` does, and the rate at which cracked parts fail: failures over years with a crack.

    Expectation and maximisation in turn, each estimate from the last one's point (Dempster, Laird and Rubin 1977, from
    memory). Without a failure on record, or without the ends of lives, the rate is 0: failures may go unwritten.
    """
    failures = int((fleet.look_code == failed_code(rates.row_count)).sum())
    if not failures or fleet.end_years is None:
        return estimate(fleet, design, rates=rates, **how)
    rate = FIRST_RATE
    if is_big(fleet):  # near enough from some of its boats
        part = fleet.of_boats(evenly(fleet.boat_count, START_BOATS))
        rate = estimate_with_failures(part, design, rates=rates, **how).model.failure_rate or FIRST_RATE
    made = estimate(fleet, design, rates=rates, failure_rate=rate, **how)
    for _ in range(MOST_ROUNDS):
        better = failures / max(made.cracked_years, 1e-9)
        if abs(np.log(better / rate)) < ALIKE:
            break
        rate = better
        made = estimate(fleet, design, rates=rates, failure_rate=rate, start=made.point, **how)
    return made
