"""What few events, or many tests at once, still show: exact limits, tests needed, adjusted p-values."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betaincinv, gammaincinv

from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def share_lower(seen: float, tried: float, *, confidence: float) -> float:
    """Return the exact one-sided lower limit of a share after `seen` of `tried` (Clopper and Pearson 1934)."""
    _check_counts(seen, tried, confidence)
    return float(betaincinv(seen, tried - seen + 1, 1 - confidence)) if seen > 0 else 0.0


def share_upper(seen: float, tried: float, *, confidence: float) -> float:
    """Return the exact one-sided upper limit of a share after `seen` of `tried` (Clopper and Pearson 1934)."""
    _check_counts(seen, tried, confidence)
    return float(betaincinv(seen + 1, tried - seen, confidence)) if seen < tried else 1.0


def share_limits(seen: float, tried: float, *, cover: float) -> tuple[float, float]:
    """Return the exact two-sided limits of a share, each side missing with at most half of 1 - cover."""
    side = (1 + cover) / 2
    return share_lower(seen, tried, confidence=side), share_upper(seen, tried, confidence=side)


def tests_needed(share: float, *, confidence: float) -> int:
    """Return how many tests, all good, show with `confidence` that at least `share` are good.

    The least n with share^n <= 1 - confidence: 29 for 90 %, 59 for 95 %, 299 for 99 %, each with 95 % confidence.
    """
    if not (0 < share < 1 and 0 < confidence < 1):
        raise _bad(f"share {share} and confidence {confidence} must lie between 0 and 1")
    needed = np.log1p(-confidence) / np.log(share)
    return int(np.ceil(needed - 1e-9))


def cracked_upper(clear: int, *, confidence: float, found: float = 1.0) -> float:
    """Return the largest share of cracked parts that `clear` clear looks, none with a finding, still allow.

    A look shows a crack with chance `found`, so the share shown is found x share: 26 % for 0 of 10 at 95 %, 37 % with
    found = .7; never above 1.
    """
    if not 0 < found <= 1:
        raise _bad(f"found {found} must lie above 0 and not above 1")
    return min(1.0, share_upper(0, clear, confidence=confidence) / found)


def scale_lower(ages: ArrayLike, *, shape: float, confidence: float, events: int = 0) -> float:
    """Return the lower limit of the Weibull scale after lives of `ages` (n,), `events` of them ended, the shape known.

    (2 sum t^shape / chi2(confidence; 2 events + 2))^(1 / shape). Without events that is the zero-failure limit, (sum
    t^shape / -ln(1 - confidence))^(1 / shape) (Abernethy et al. 1983, from memory).
    """
    values = np.asarray(ages, dtype=float)
    if values.size == 0 or not (np.isfinite(values) & (values >= 0)).all() or not values.any():
        raise _bad("ages must be finite, not negative, and not all 0")
    if not (0 < shape < np.inf and 0 < confidence < 1 and events >= 0):
        raise _bad(
            f"shape {shape} must be above 0, confidence {confidence} between 0 and 1, events {events} not below 0"
        )
    oldest = float(values.max())
    worth = float(((values / oldest) ** shape).sum()) / float(gammaincinv(events + 1, confidence))  # chi2 / 2
    return float(oldest * worth ** (1 / shape))


def _check_counts(seen: float, tried: float, confidence: float) -> None:
    if not (0 <= seen <= tried < np.inf and tried > 0):
        raise _bad(f"{seen} of {tried} is no count of tests")
    if not 0 < confidence < 1:
        raise _bad(f"confidence {confidence} must lie between 0 and 1")


def _bad(what: str) -> EstimateError:
    return EstimateError(what, where="arguments", remedy="give counts and shares as described")


def holm(p_values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return p-values adjusted for their number, shape (m,): step-down, never falling, at most 1; nan stays nan.

    Source: Holm 1979, Scandinavian Journal of Statistics 6 (from memory).
    """
    known = np.flatnonzero(np.isfinite(p_values))
    order = known[np.argsort(p_values[known], kind="stable")]
    adjusted = np.full_like(p_values, np.nan)
    adjusted[order] = np.minimum(np.maximum.accumulate(p_values[order] * np.arange(len(order), 0, -1)), 1.0)
    return adjusted
