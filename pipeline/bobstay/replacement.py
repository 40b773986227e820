"""Replacement by age: the age at which renewing a sound part costs least in the long run."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.special import gamma, gammainc

from bobstay.errors import EstimateError


def age_replacement(shape: float, scale: float, planned_cost: float, failure_cost: float) -> tuple[float, float]:
    """Return the best age at which to replace, in the unit of `scale`, and its cost for each unit of time.

    Age solves h(R) int_0^R S + S(R) = failure_cost / (failure_cost - planned_cost), cost is
    (failure_cost - planned_cost) h(R) (Barlow and Hunter 1960, from memory). Where that never pays - shape at most 1,
    failure no dearer than plan, or an age no part would live to see - the age is inf and the cost failure_cost / mean.
    Raises EstimateError on numbers that are not above 0 and finite.
    """
    _check(shape=shape, scale=scale, planned_cost=planned_cost, failure_cost=failure_cost)
    never = (float("inf"), failure_cost / (scale * float(gamma(1 + 1 / shape))))
    if shape <= 1 or failure_cost <= planned_cost:
        return never
    log_age = _root(shape, failure_cost / (failure_cost - planned_cost))
    if log_age is None:
        return never
    rate = (failure_cost - planned_cost) * shape * np.exp((shape - 1) * log_age)
    return float(scale * np.exp(log_age)), float(rate / scale)


def _root(shape: float, ratio: float) -> float | None:
    """Return ln of the best age in units of scale; None where survival to it cannot be told from 0."""

    def excess(log_age: float) -> float:
        power = float(np.exp(shape * log_age))
        mean_to_age = float(gamma(1 + 1 / shape) * gammainc(1 / shape, power))
        return shape * float(np.exp((shape - 1) * log_age)) * mean_to_age + float(np.expm1(-power)) - (ratio - 1)

    highest = float(np.log(745.0)) / shape  # exp(-745) is the last survival above 0
    lowest = -700.0 / shape
    if excess(highest) <= 0:
        return None
    if excess(lowest) >= 0:
        return lowest
    return float(brentq(excess, lowest, highest, xtol=1e-13, rtol=1e-13))


def _check(**numbers: float) -> None:
    for name, number in numbers.items():
        if not 0 < number < np.inf:
            raise EstimateError(
                f"{name} {number} is not a number above 0", where=name, remedy="give a finite number above 0"
            )
