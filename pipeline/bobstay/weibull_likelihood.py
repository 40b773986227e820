"""The Weibull log-likelihood of censored, late-entered lives, with its exact derivatives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.observations import Observations

    Numbers = NDArray[np.float64]

LARGEST_EXPONENT = 700.0


@dataclass(frozen=True, slots=True)
class Spans:
    """Spans of age, as logs: where each ends (`end`, less the reference) and how far it reaches (`reach`).

    reach = inf where a span begins at age 0.
    """

    start: Numbers
    reach: Numbers


@dataclass(frozen=True, slots=True)
class Design:
    """What the likelihood needs of the rows, with log ages counted from `reference`.

    A row gives -H over (entry, lower], and log(1 - exp(-H over (lower, upper])) or the log hazard at an exact age.
    """

    reference: float
    survived: Spans
    survived_count: Numbers
    failed: Spans
    failed_count: Numbers
    exact: Numbers
    exact_count: Numbers
    constant: float


@dataclass(frozen=True, slots=True)
class Slopes:
    """Log-likelihood, gradient (2,) and Hessian (2, 2) in (log shape, level)."""

    value: float
    gradient: Numbers
    hessian: Numbers


def design(seen: Observations, reference: float) -> Design:
    """Return the spans of `seen` with log ages counted from `reference`."""
    survived = seen.lower > seen.entry
    failed = seen.is_event & ~seen.is_exact
    exact = np.log(seen.lower[seen.is_exact])
    exact_count = seen.count[seen.is_exact]
    return Design(
        reference,
        _spans(seen.entry[survived], seen.lower[survived], reference),
        seen.count[survived],
        _spans(seen.lower[failed], seen.upper[failed], reference),
        seen.count[failed],
        exact - reference,
        exact_count,
        -float(exact @ exact_count),
    )


def _spans(begin: Numbers, end: Numbers, reference: float) -> Spans:
    """Where a span begins at 0 its end stands for its start; reach is accurate for the narrowest of spans."""
    from_zero = begin == 0
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        near = np.log1p((end - begin) / begin)
        reach = np.where(from_zero, np.inf, np.where(np.isfinite(near), near, np.log(end) - np.log(begin)))
    return Spans(np.log(np.where(from_zero, end, begin)) - reference, reach)


def value(rows: Design, theta: Numbers) -> float:
    """Return the log-likelihood at theta = (log shape b, level c), where ln H(t) = exp(b) (ln t - reference) + c.

    -inf where it cannot be represented.
    """
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        survived, failed = np.exp(_log_increments(rows.survived, theta)), _log_increments(rows.failed, theta)
        return _total(rows, theta, survived, failed)


def _total(rows: Design, theta: Numbers, survived: Numbers, log_failed: Numbers) -> float:
    """Return the log-likelihood from the hazards lived through and the logs of those over the failed spans."""
    level = np.exp(theta[0]) * rows.exact + theta[1]
    total = (
        rows.constant
        - float(rows.survived_count @ survived)
        + float(rows.failed_count @ _log_one_less_exp(log_failed))
        + float(rows.exact_count @ (level + theta[0]))
    )
    return total if np.isfinite(total) else -np.inf


def level_of_total(rows: Design, log_shape: float) -> float:
    """Return the level at which the hazard lived through equals the events: a start near the best level."""
    theta = np.array([log_shape, 0.0])
    with np.errstate(over="ignore", divide="ignore"):
        hazards = np.concatenate(
            (_log_increments(rows.survived, theta), _log_increments(rows.failed, theta) - np.log(2))
        )
    counts = np.concatenate((rows.survived_count, rows.failed_count))
    top = float(hazards.max())
    events = float(rows.failed_count.sum() + rows.exact_count.sum())
    return float(np.log(events) - top - np.log(counts @ np.exp(hazards - top)))


def slopes(rows: Design, theta: Numbers) -> Slopes:
    """Return log-likelihood, gradient and Hessian at theta.

    With D an increment of H, D_c = D and D_b = m D; written in m and its slope, nothing underflows.
    """
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        lived, log_failed = np.exp(_log_increments(rows.survived, theta)), _log_increments(rows.failed, theta)
        hazard = rows.survived_count * lived
        survived = _summed(-hazard, -hazard, *_ratios(rows.survived, theta))
        increment = np.exp(np.minimum(log_failed, np.log(LARGEST_EXPONENT)))
        over = _over_expm1(increment)
        g = rows.failed_count * over
        failed = _summed(g, g * (1 - over - increment), *_ratios(rows.failed, theta))
        d = np.exp(theta[0]) * rows.exact
        gradient = np.array([float(rows.exact_count @ (d + 1)), float(rows.exact_count.sum())])
        hessian = np.array([[float(rows.exact_count @ d), 0.0], [0.0, 0.0]])
        total = _total(rows, theta, lived, log_failed)
    return Slopes(total, gradient + survived[0] + failed[0], hessian + survived[1] + failed[1])


def _summed(first: Numbers, second: Numbers, m: Numbers, slope: Numbers) -> tuple[Numbers, Numbers]:
    """Return gradient and Hessian of rows whose slopes in the level are `first` and `second`."""
    cross = float(second @ m)
    gradient = np.array([float(first @ m), float(first.sum())])
    return gradient, np.array([[float(second @ m**2 + first @ slope), cross], [cross, float(second.sum())]])


def _log_increments(spans: Spans, theta: Numbers) -> Numbers:
    """Return ln of the increment of H over each span."""
    delta = np.exp(theta[0]) * spans.reach
    grown = np.where(delta > 30, delta, np.log(np.expm1(np.minimum(delta, 30))))
    return np.asarray(np.exp(theta[0]) * spans.start + theta[1] + np.where(np.isinf(spans.reach), 0.0, grown))


def _ratios(spans: Spans, theta: Numbers) -> tuple[Numbers, Numbers]:
    """Return m = (dD/db) / D of each span, and dm/db."""
    begin = np.exp(theta[0]) * spans.start
    delta = np.where(np.isinf(spans.reach), 1.0, np.exp(theta[0]) * spans.reach)
    rest = -np.expm1(-delta)
    phi = delta / rest
    # the slope of phi loses digits below 1e-4, where its series 1/2 + delta/6 is exact to 1e-12
    phi_slope = np.where(delta < 1e-4, 0.5 + delta / 6, (rest - delta * np.exp(-delta)) / rest**2)
    from_zero = np.isinf(spans.reach)
    return np.where(from_zero, begin, begin + phi), np.where(from_zero, begin, begin + delta * phi_slope)


def _log_one_less_exp(log_increment: Numbers) -> Numbers:
    """Return ln(1 - exp(-D)) from ln D, for the smallest and the largest D."""
    increment = np.exp(log_increment)
    small = log_increment < -30
    return np.where(small, log_increment, np.log(-np.expm1(-np.where(small, 1.0, increment))))


def _over_expm1(x: Numbers) -> Numbers:
    """Return x / (exp(x) - 1), 1 at 0."""
    tiny = x < 1e-12
    return np.where(tiny, 1.0, x / np.expm1(np.where(tiny, 1.0, x)))
