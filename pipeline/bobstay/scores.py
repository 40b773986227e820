"""Scores of chances and of orders against what looks found: arrays in, numbers out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import gammaincinv

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

EDGE = 1e-6  # a chance nearer to 0 or 1 than this is scored as this
EDGE_OF_SPREAD = 1e-9  # logit chances that differ by less are taken as all alike


def brier(chance: Floats, seen: Flags) -> float:
    """Return the mean squared error of chances, shapes (n,); Brier 1950, Monthly Weather Review 78."""
    return float(np.mean((chance - seen) ** 2))


def log_score(chance: Floats, seen: Flags) -> float:
    """Return the mean log score, shapes (n,), 0 is perfect; Good 1952, J. Royal Stat. Soc. B 14."""
    held = np.clip(chance, EDGE, 1 - EDGE)
    return float(np.mean(np.where(seen, np.log(held), np.log1p(-held))))


def concordance(order: Floats, seen: Flags) -> float:
    """Return the chance that a finding stands above a clear look, ties half; NaN where one kind is missing.

    `order`, shape (n,): larger stands first. The Mann-Whitney statistic over n1 n0 (Mann and Whitney 1947).
    """
    from scipy.stats import rankdata

    found, clear = int(seen.sum()), int((~seen).sum())
    if not found or not clear:
        return float("nan")
    ranks = rankdata(order)
    return float((ranks[seen].sum() - found * (found + 1) / 2) / (found * clear))


def top_share(order: Floats, seen: Flags, *, share: float = 0.1) -> float:
    """Return the share of findings in the first `share` of the order, shapes (n,); NaN with no finding."""
    if not seen.any():
        return float("nan")
    return float(taken(order, share=share)[seen].sum() / seen.sum())


def taken(order: Floats, *, share: float = 0.1) -> Floats:
    """Return how much of each place, shape (n,), lies in the first `share` of the order: 1, 0, or between for ties.

    A tie across the cut is taken by the part of it that lies above, so that the order of rows does not matter.
    """
    levels, where = np.unique(-order, return_inverse=True)
    sizes = np.bincount(where, minlength=len(levels))
    before = np.cumsum(sizes) - sizes
    part = np.clip((share * len(order) - before) / np.maximum(sizes, 1), 0, 1)
    return np.asarray(part[where])


def calibration_slope(chance: Floats, seen: Flags) -> float:
    """Return the slope of `calibration`; 1 is perfect."""
    return calibration(chance, seen)[1]


def calibration(chance: Floats, seen: Flags, *, weight: Floats | None = None) -> tuple[float, float]:
    """Return intercept and slope of a logistic regression of findings on logit chance, shapes (n,); 0 and 1 is perfect.

    Cox 1958, Biometrika 45. `weight` counts each row so many times. NaN where there is no finite value (no spread, or
    findings all above all clear looks).
    """
    held = np.clip(chance, EDGE, 1 - EDGE)
    counts = np.ones(len(held)) if weight is None else np.asarray(weight, dtype=float)
    kept = counts > 0
    x, y, counts = (np.log(held) - np.log1p(-held))[kept], seen[kept].astype(float), counts[kept]
    found, clear = x[y == 1], x[y == 0]
    if not len(found) or not len(clear) or np.ptp(x) < EDGE_OF_SPREAD or _apart(found, clear):
        return float("nan"), float("nan")
    return _climbed(np.column_stack([np.ones_like(x), x]), y, counts)


def _apart(found: Floats, clear: Floats) -> bool:
    """Tell whether findings and clear looks do not overlap: the likelihood then rises without end."""
    return bool(found.min() >= clear.max() or found.max() <= clear.min())


def _climbed(design: Floats, y: Floats, counts: Floats) -> tuple[float, float]:
    """Return the maximum of the logistic likelihood by Newton steps of at most 1, from intercept 0 and slope 1."""
    beta = np.array([0.0, 1.0])
    for _ in range(50):
        p = 1 / (1 + np.exp(-design @ beta))
        step = np.linalg.solve((design.T * (counts * p * (1 - p))) @ design, design.T @ (counts * (y - p)))
        beta = beta + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    return float(beta[0]), float(beta[1])


def poisson_limits(seen: Floats, *, cover: float) -> tuple[Floats, Floats]:
    """Return the exact limits of Poisson means after `seen` findings, shape (n,) (Garwood 1936, Biometrika 28)."""
    low = np.where(seen > 0, gammaincinv(np.maximum(seen, 1), (1 - cover) / 2), 0.0)
    return np.asarray(low), np.asarray(gammaincinv(seen + 1, (1 + cover) / 2))
