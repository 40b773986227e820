"""Cumulative hazards H of log age, with gradient and Hessian in their parameters.

A family of log-location-scale has H(z) with z = (ln t - theta[0]) exp(-theta[1]); age 0 is ln t = -inf, where H = 0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, log_ndtr

Floats = NDArray[np.float64]
LARGEST = 690.0  # exponents beyond this have no double; the climb turns back long before
HALF_LOG_TWO_PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True, slots=True)
class Parts:
    """A quantity (n,) with its gradient (p, n) and Hessian (p, p, n) in the parameters."""

    value: Floats
    first: Floats
    second: Floats


Hazard = Callable[[Floats, Floats], Parts]
Standard = Callable[[Floats], tuple[Floats, Floats, Floats]]


def _weibull(z: Floats) -> tuple[Floats, Floats, Floats]:
    e = np.exp(np.minimum(z, LARGEST))
    return e, e, e


def _lognormal(z: Floats) -> tuple[Floats, Floats, Floats]:
    log_survival = log_ndtr(-z)
    rate = np.exp(-0.5 * z**2 - HALF_LOG_TWO_PI - log_survival)
    return -log_survival, rate, rate * (rate - z)


def _loglogistic(z: Floats) -> tuple[Floats, Floats, Floats]:
    p = expit(z)
    return np.logaddexp(0.0, z), p, p * (1 - p)


def _weibull_log_rate(z: Floats) -> tuple[Floats, Floats, Floats]:
    return z, np.ones_like(z), np.zeros_like(z)


def _lognormal_log_rate(z: Floats) -> tuple[Floats, Floats, Floats]:
    log_rate = -0.5 * z**2 - HALF_LOG_TWO_PI - log_ndtr(-z)
    rate = np.exp(log_rate)
    return log_rate, rate - z, rate * (rate - z) - 1


def _loglogistic_log_rate(z: Floats) -> tuple[Floats, Floats, Floats]:
    p = expit(z)
    return -np.logaddexp(0.0, -z), 1 - p, -p * (1 - p)


def _chained(log_age: Floats, theta: Floats, standard: Standard) -> Parts:
    """Return a function of z as one of (location, log spread)."""
    spread, is_zero = np.exp(theta[1]), np.isneginf(log_age)
    z = np.where(is_zero, 0.0, (np.where(is_zero, 0.0, log_age) - theta[0]) / spread)
    value, first, second = (np.where(is_zero, 0.0, part) for part in standard(z))
    cross = (second * z + first) / spread
    return Parts(
        value,
        np.stack([-first / spread, -first * z]),
        np.stack([[second / spread**2, cross], [cross, second * z**2 + first * z]]),
    )


def weibull(log_age: Floats, theta: Floats) -> Parts:
    """Return H of the Weibull, theta = (ln scale, -ln shape)."""
    return _chained(log_age, theta, _weibull)


def lognormal(log_age: Floats, theta: Floats) -> Parts:
    """Return H of the lognormal, theta = (mu, ln sigma)."""
    return _chained(log_age, theta, _lognormal)


def loglogistic(log_age: Floats, theta: Floats) -> Parts:
    """Return H of the log-logistic, theta = (ln median, ln spread)."""
    return _chained(log_age, theta, _loglogistic)


_LOG_RATES: dict[Hazard, Standard] = {
    weibull: _weibull_log_rate,
    lognormal: _lognormal_log_rate,
    loglogistic: _loglogistic_log_rate,
}


def log_rate(hazard: Hazard, log_age: Floats, theta: Floats) -> Parts:
    """Return the log of the hazard rate in age, for exact ages; only families of log-location-scale have it here."""
    parts = _chained(log_age, theta, _LOG_RATES[hazard])
    first = parts.first.copy()
    first[1] -= 1.0
    return Parts(parts.value - theta[1] - log_age, first, parts.second)


def bent(knot: float) -> Hazard:
    """Return a Weibull whose plot has another slope beyond ln t = knot.

    theta = (ln scale a, ln shape b, bend e): ln H = exp(b) (min(x, knot) - a + exp(e) max(x - knot, 0)), x = ln t;
    bend 0 is the Weibull, exp(e) the slope after the knot over the slope before it.
    """

    def hazard(log_age: Floats, theta: Floats) -> Parts:
        is_zero = np.isneginf(log_age)
        x = np.where(is_zero, knot, log_age)
        shape, after = np.exp(theta[1]), np.exp(theta[1] + theta[2]) * np.maximum(x - knot, 0.0)
        log_h = shape * (np.minimum(x, knot) - theta[0]) + after
        h = np.where(is_zero, 0.0, np.exp(np.minimum(log_h, LARGEST)))
        slope = np.stack([np.full_like(x, -shape), log_h, after])
        zero = np.zeros_like(x)
        curve = np.stack([[zero, slope[0], zero], [slope[0], log_h, after], [zero, after, after]])
        return Parts(h, h * slope, h * (slope[:, None] * slope[None] + curve))

    return hazard


def banded(edges: Floats) -> Hazard:
    """Return a Weibull whose rate is multiplied within bands of age.

    `edges` (k,) are the log ages at which bands meet; theta = (ln scale, -ln shape, then ln multiplier of each band
    after the first); all multipliers 0 is the Weibull.
    """

    def hazard(log_age: Floats, theta: Floats) -> Parts:
        marks = [np.full_like(log_age, -np.inf), *(np.full_like(log_age, e) for e in edges), log_age]
        reached = [weibull(np.minimum(log_age, mark), theta[:2]) for mark in marks]
        times = np.exp(np.concatenate(([0.0], theta[2:])))
        return _summed([_less(b, a) for a, b in pairwise(reached)], times)

    return hazard


def _less(one: Parts, other: Parts) -> Parts:
    return Parts(one.value - other.value, one.first - other.first, one.second - other.second)


def _summed(pieces: list[Parts], times: Floats) -> Parts:
    """Return the pieces of H, each times its multiplier, with derivatives in (location, log spread, multipliers)."""
    size, n = len(pieces) + 1, len(pieces[0].value)
    value, first, second = np.zeros(n), np.zeros((size, n)), np.zeros((size, size, n))
    for i, (piece, factor) in enumerate(zip(pieces, times, strict=True)):
        value += factor * piece.value
        first[:2] += factor * piece.first
        second[:2, :2] += factor * piece.second
        if i:
            first[i + 1] += factor * piece.value
            second[i + 1, :2] = second[:2, i + 1] = factor * piece.first
            second[i + 1, i + 1] = factor * piece.value
    return Parts(value, first, second)
