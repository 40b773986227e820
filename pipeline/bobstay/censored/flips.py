"""A score test of added parameters that trusts no variance but that between boats."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.censored.hazards import Floats

FLIPS = 999


@dataclass(frozen=True, slots=True)
class ScoreTest:
    """The statistic, its degrees of freedom, the p-value from sign flips, and the boats that said anything."""

    statistic: float
    degrees: int
    p_value: float
    boat_count: int


def score_test(
    gradient: Floats, hessian: Floats, *, boat: NDArray[np.intp], added: int, seed: int | tuple[int, ...]
) -> ScoreTest | None:
    """Return the test that the last `added` parameters are 0, at the maximum over the others; None where it cannot be.

    `gradient` (p, n) by life, `hessian` (p, p), `boat` (n,) the boat of each life. Each boat's efficient score is kept
    or turned about by chance, so that lives of one boat may depend on each other; p counts how often so large a sum
    comes about (sign-flipped score contributions, Hemerik, Goeman and Finos 2020, J. R. Stat. Soc. B 82, from memory).
    """
    kept = len(gradient) - added
    try:
        turn = np.linalg.solve(hessian[:kept, :kept], hessian[:kept, kept:])
    except np.linalg.LinAlgError:
        return None
    own = gradient[kept:] - turn.T @ gradient[:kept]
    scores = np.stack([np.bincount(boat, weights=row) for row in own], axis=1)
    scores = scores[np.abs(scores).max(axis=1) > 1e-12]
    spread = scores.T @ scores
    if len(scores) <= added + 1 or not np.isfinite(spread).all() or np.linalg.cond(spread) > 1e10:
        return None
    root = np.linalg.inv(np.linalg.cholesky(spread))
    seen = float(((root @ scores.sum(axis=0)) ** 2).sum())
    signs = np.random.default_rng(seed).choice([-1.0, 1.0], size=(FLIPS, len(scores)))
    flipped = ((signs @ scores @ root.T) ** 2).sum(axis=1)
    return ScoreTest(seen, added, (1 + int((flipped >= seen - 1e-9).sum())) / (1 + FLIPS), len(scores))
