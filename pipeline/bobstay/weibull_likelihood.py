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
SMALL = -30.0  # ln D below which 1 - exp(-D) is D itself


@dataclass(frozen=True, slots=True)
class Spans:
    """Spans of age, as logs: where each begins (less the reference) and how far it reaches.

    `new` (places) begin at age 0: their end stands for their start, and they reach 1 for nothing.
    """

    start: Numbers
    reach: Numbers
    new: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Increments:
    """Of each span at one theta: ln D, m = (dD/db) / D and dm/db."""

    log: Numbers
    m: Numbers
    slope: Numbers


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
        reach = np.where(from_zero, 1.0, np.where(np.isfinite(near), near, np.log(end) - np.log(begin)))
    return Spans(np.log(np.where(from_zero, end, begin)) - reference, reach, np.flatnonzero(from_zero))


def value(rows: Design, theta: Numbers) -> float:
    """Return the log-likelihood at theta = (log shape b, level c), where ln H(t) = exp(b) (ln t - reference) + c.

    -inf where it cannot be represented.
    """
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        lived, log_failed = np.exp(_log_increments(rows.survived, theta)), _log_increments(rows.failed, theta)
        return _total(rows, theta, lived, _log_one_less_exp(log_failed, -np.expm1(-np.exp(log_failed))))


def _total(rows: Design, theta: Numbers, lived: Numbers, log_failed: Numbers) -> float:
    """Return the log-likelihood from the hazards lived through and the logs of the chances to fail in the spans."""
    level = np.exp(theta[0]) * rows.exact + theta[1]
    total = (
        rows.constant
        - float(rows.survived_count @ lived)
        + float(rows.failed_count @ log_failed)
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
        survived, failed = _increments(rows.survived, theta), _increments(rows.failed, theta)
        lived = np.exp(survived.log)
        hazard = -rows.survived_count * lived
        of_lived = _summed(hazard, hazard, survived)
        increment = np.exp(np.minimum(failed.log, np.log(LARGEST_EXPONENT)))
        failing = -np.expm1(-increment)
        over = np.where(failed.log < SMALL, 1.0, increment * (1.0 / failing - 1.0))  # D / (exp(D) - 1)
        g = rows.failed_count * over
        of_failed = _summed(g, g * (1 - over - increment), failed)
        d = np.exp(theta[0]) * rows.exact
        gradient = np.array([float(rows.exact_count @ (d + 1)), float(rows.exact_count.sum())])
        hessian = np.array([[float(rows.exact_count @ d), 0.0], [0.0, 0.0]])
        total = _total(rows, theta, lived, _log_one_less_exp(failed.log, failing))
    return Slopes(total, gradient + of_lived[0] + of_failed[0], hessian + of_lived[1] + of_failed[1])


def _summed(first: Numbers, second: Numbers, of: Increments) -> tuple[Numbers, Numbers]:
    """Return gradient and Hessian of rows whose slopes in the level are `first` and `second`."""
    with_m = second * of.m
    cross = float(with_m.sum())
    gradient = np.array([float(first @ of.m), float(first.sum())])
    bend = float(with_m @ of.m + first @ of.slope)
    return gradient, np.array([[bend, cross], [cross, float(second.sum())]])


def _log_increments(spans: Spans, theta: Numbers) -> Numbers:
    """Return ln of the increment of H over each span."""
    delta = np.exp(theta[0]) * spans.reach
    grown = delta + np.log(-np.expm1(-delta))
    grown[spans.new] = 0.0
    return np.asarray(np.exp(theta[0]) * spans.start + theta[1] + grown)


def _increments(spans: Spans, theta: Numbers) -> Increments:
    """Return ln D of each span, with delta the growth of ln H over it: D = H(begin) (exp(delta) - 1)."""
    begin, delta = np.exp(theta[0]) * spans.start, np.exp(theta[0]) * spans.reach
    rest = -np.expm1(-delta)
    grown, phi = delta + np.log(rest), delta / rest
    # the slope of phi loses digits below 1e-4, where its series 1/2 + delta/6 is exact to 1e-12
    bent = delta * np.where(delta < 1e-4, 0.5 + delta / 6, (rest - delta * (1.0 - rest)) / rest**2)
    for part in (grown, phi, bent):
        part[spans.new] = 0.0
    return Increments(begin + theta[1] + grown, begin + phi, begin + bent)


def _log_one_less_exp(log_increment: Numbers, failing: Numbers) -> Numbers:
    """Return ln(1 - exp(-D)) from ln D and 1 - exp(-D), for the smallest and the largest D."""
    return np.where(log_increment < SMALL, log_increment, np.log(failing))
