"""The likelihood of censored, late-entered rows under any cumulative hazard, row by row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bobstay.censored.hazards import LARGEST, Floats, Hazard, Parts, log_rate
from bobstay.observations import observe

if TYPE_CHECKING:
    from bobstay.observations import Observations

Bools = NDArray[np.bool_]
LEAST_INCREMENT = 1e-300


@dataclass(frozen=True, slots=True)
class Rows:
    """Log ages (n,) of entry and of the two ends of the event's interval; age 0 is -inf, never seen is inf."""

    entry: Floats
    lower: Floats
    upper: Floats
    count: Floats

    @property
    def is_event(self) -> Bools:
        """Rows whose event was seen within an interval or exactly."""
        return np.isfinite(self.upper)

    @property
    def is_exact(self) -> Bools:
        """Rows whose event has an exact age."""
        return self.is_event & np.equal(self.lower, self.upper)

    def chosen(self, rows: Bools) -> Rows:
        """Return the rows marked."""
        return Rows(self.entry[rows], self.lower[rows], self.upper[rows], self.count[rows])


@dataclass(frozen=True, slots=True)
class Slopes:
    """Log-likelihood (n,) and gradient (p, n) of each row, Hessian (p, p) of their sum; counts are in all three."""

    value: Floats
    gradient: Floats
    hessian: Floats


def rows_of(entry: ArrayLike | None, lower: ArrayLike, upper: ArrayLike, count: ArrayLike | None = None) -> Rows:
    """Return rows (n,) as `weibull.estimate` takes them, in the order given; raises EstimateError on bad rows."""
    seen: Observations = observe(entry, lower, upper, count=count)
    with np.errstate(divide="ignore"):
        return Rows(np.log(seen.entry), np.log(seen.lower), np.log(seen.upper), seen.count)


def slopes(rows: Rows, hazard: Hazard, theta: Floats) -> Slopes:
    """Return the log-likelihood H(entry) - H(lower) + ln(1 - exp(-(H(upper) - H(lower)))) with its derivatives.

    Exact ages add the log hazard rate instead of the last term; right-censored rows add nothing. Source of the
    derivatives: the chain rule; tests hold them to finite differences.
    """
    entry, lower = hazard(rows.entry, theta), hazard(rows.lower, theta)
    weight = rows.count
    value, first = entry.value - lower.value, entry.first - lower.first
    second = (entry.second - lower.second) @ weight
    inside, exact = rows.is_event & ~rows.is_exact, rows.is_exact
    if inside.any():
        more = _within(hazard(rows.upper[inside], theta), _chosen(lower, inside))
        value[inside], first[:, inside] = value[inside] + more.value, first[:, inside] + more.first
        second = second + more.second @ weight[inside]
    if exact.any():
        more = log_rate(hazard, rows.lower[exact], theta)
        value[exact], first[:, exact] = value[exact] + more.value, first[:, exact] + more.first
        second = second + more.second @ weight[exact]
    return Slopes(value * weight, first * weight, second)


def _chosen(parts: Parts, rows: Bools) -> Parts:
    return Parts(parts.value[rows], parts.first[:, rows], parts.second[:, :, rows])


def _within(upper: Parts, lower: Parts) -> Parts:
    """Return ln(1 - exp(-D)) of the increment D of H: slope q = 1 / (exp(D) - 1), second slope -q (1 + q)."""
    increment = np.maximum(upper.value - lower.value, LEAST_INCREMENT)
    first, second = upper.first - lower.first, upper.second - lower.second
    q = 1 / np.expm1(np.minimum(increment, LARGEST))
    outer = first[:, None] * first[None]
    return Parts(np.log(-np.expm1(-increment)), q * first, q * second - _curved(q, increment) * outer)


def _curved(q: Floats, increment: Floats) -> Floats:
    """Return q (1 + q), kept finite where the increment underflows (its slopes are then 0 as well)."""
    return np.where(increment <= 1e-150, 0.0, np.minimum(q, 1e150) * (1 + np.minimum(q, 1e150)))
