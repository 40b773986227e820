"""Scores of chances and of orders against what looks found: arrays in, numbers out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

EDGE = 1e-6  # a chance nearer to 0 or 1 than this is scored as this


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
    """Return the share of findings in the first `share` of the order; ties share what they hold; NaN with no finding.

    Findings tied across the cut count by the part of the tie that lies above it, so that the order of rows does not
    matter.
    """
    if not seen.any():
        return float("nan")
    room = share * len(order)
    levels, where = np.unique(-order, return_inverse=True)
    sizes = np.bincount(where, minlength=len(levels))
    findings = np.bincount(where, weights=seen, minlength=len(levels))
    before = np.cumsum(sizes) - sizes
    taken = np.clip((room - before) / sizes, 0, 1)
    return float((taken * findings).sum() / seen.sum())


def calibration_slope(chance: Floats, seen: Flags) -> float:
    """Return the slope of a logistic regression of findings on logit chance, shapes (n,); 1 is perfect.

    Cox 1958, Biometrika 45. NaN where it has no finite value (no spread, or findings all above all clear looks).
    """
    x = np.log(np.clip(chance, EDGE, 1 - EDGE)) - np.log1p(-np.clip(chance, EDGE, 1 - EDGE))
    both = seen.any() and not seen.all()
    if not both or np.ptp(x) < 1e-9 or x[seen].min() >= x[~seen].max() or x[seen].max() <= x[~seen].min():
        return float("nan")
    design = np.column_stack([np.ones_like(x), x])
    beta = np.array([0.0, 1.0])
    for _ in range(50):
        p = 1 / (1 + np.exp(-design @ beta))
        step = np.linalg.solve((design.T * (p * (1 - p))) @ design, design.T @ (seen - p))
        beta = beta + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    return float(beta[1])
