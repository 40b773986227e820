"""Chances behind the alerts: tails, what looks may be expected to show. Arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betainc, gammainc

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


def poisson_tail(seen: int, expected: float) -> float:
    """Return the chance of `seen` or more where `expected` are expected."""
    return float(gammainc(seen, expected)) if seen > 0 else 1.0


def clustered_tail(seen: int, expected: float, extra_variance: float) -> float:
    """Return the chance of `seen` or more where `expected` are expected and boats differ by `extra_variance` more.

    Negative binomial of that mean and of variance `expected + extra_variance`: a Poisson number whose mean has a
    gamma spread; the Poisson itself where there is none.
    """
    if expected <= 0:
        return 1.0 if seen == 0 else 0.0
    if extra_variance <= 1e-12:
        return poisson_tail(seen, expected)
    size = expected**2 / extra_variance
    return float(betainc(seen, size, expected / (size + expected))) if seen > 0 else 1.0


def group_tail(seen: int, *, group: int, found: int, total: int) -> float:
    """Return the chance that `seen` or more of the `found` among `total` fall on a group of that size by luck."""
    from scipy.stats import hypergeom  # three quarters of a second, which only this asks for

    return float(hypergeom.sf(seen - 1, total, found, group))


def share_tail(seen: int, *, found: int, share: float) -> float:
    """Return the chance that `seen` or more of `found` fall on a group with `share` of all the hazard gone through."""
    if not 0 < seen <= found:
        return 1.0 if seen <= 0 else 0.0
    return float(betainc(seen, found - seen + 1, min(max(share, 0.0), 1.0)))


@dataclass(frozen=True, slots=True)
class LookTable:
    """Valid looks in order of life and age, arrays of shape (n,)."""

    life: Ints  # numbers of the lives from 0
    turn: Ints  # 0 for the first look of its life, 1 for the next
    hazard: Floats  # cumulative hazard of the life's class at the look
    found: Floats
    false_call: Floats
    is_clear: NDArray[np.bool_]
    is_unfounded: NDArray[np.bool_]


def chances_to_show(looks: LookTable, entry_hazard: Floats) -> Floats:
    """Return the chance that each look shows an indication, given all looks of its life before it, shape (n,).

    A two-state filter: a sound part cracks with the hazard between looks, a crack stays, each result is weighed by
    Bayes' rule; an indication called unfounded makes the part sound. `entry_hazard` (lives,): where watching began.
    Same likelihood as the estimate under imperfect detection (Gu, Ma and Balasubramanian 2015).
    """
    cracked = np.zeros(len(entry_hazard))
    before = entry_hazard.copy()
    shown = np.zeros(len(looks.life))
    for turn in range(int(looks.turn.max(initial=-1)) + 1):
        rows = np.flatnonzero(looks.turn == turn)
        life = looks.life[rows]
        crack = 1 - (1 - cracked[life]) * np.exp(-np.maximum(looks.hazard[rows] - before[life], 0.0))
        shown[rows] = looks.found[rows] * crack + looks.false_call[rows] * (1 - crack)
        cracked[life] = _after(looks, rows, crack)
        before[life] = np.maximum(looks.hazard[rows], before[life])
    return shown


def _after(looks: LookTable, rows: Ints, crack: Floats) -> Floats:
    clear = looks.is_clear[rows]
    if_cracked = np.where(clear, 1 - looks.found[rows], looks.found[rows])
    if_sound = np.where(clear, 1 - looks.false_call[rows], looks.false_call[rows])
    weight = crack * if_cracked
    total = weight + (1 - crack) * if_sound
    after = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0)
    return np.where(looks.is_unfounded[rows], 0.0, after)
