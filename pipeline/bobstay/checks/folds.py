"""Scores on boats that the estimate has not seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from bobstay import weibull
from bobstay.censored import FamilyEstimate, Rows, estimate_family, log_scores, rows_of
from bobstay.errors import EstimateError

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]

FOLDS = 5
Start = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sample:
    """Lives that say something, as arrays (n,): ages, the number of the boat and its fold."""

    entry: Floats
    lower: Floats
    upper: Floats
    boat: Ints
    fold: Ints

    @property
    def event_count(self) -> int:
        """Lives with an indication."""
        return int(np.isfinite(self.upper).sum())

    @property
    def boat_count(self) -> int:
        """Boats the lives are on."""
        return len(np.unique(self.boat))

    def rows(self) -> Rows:
        """Return the rows of the likelihood."""
        return rows_of(self.entry, self.lower, self.upper)

    def chosen(self, kept: NDArray[np.bool_]) -> Sample:
        """Return the lives marked."""
        return Sample(self.entry[kept], self.lower[kept], self.upper[kept], self.boat[kept], self.fold[kept])

    def stretched(self, times: Floats) -> Sample:
        """Return the same lives with every age multiplied, life by life."""
        return Sample(self.entry * times, self.lower * times, self.upper * times, self.boat, self.fold)


def boat_folds(boat_ids: pd.Series[str], seed: int) -> dict[str, int]:
    """Return a fold 0..4 for each boat, dealt in turn from a seeded shuffle of the ids."""
    ids = sorted(set(boat_ids))
    order = np.random.default_rng(seed).permutation(len(ids))
    return {ids[i]: place % FOLDS for place, i in enumerate(order)}


def sample_of(lives: pd.DataFrame, folds: dict[str, int]) -> Sample:
    """Return the lives that say something: with an indication, or watched for some time."""
    entry, lower, upper = (lives[f"{name}_years"].to_numpy(dtype=float) for name in ("entry", "lower", "upper"))
    numbers = {boat: number for number, boat in enumerate(folds)}
    boat = np.array([numbers[b] for b in lives["boat_id"]], dtype=np.intp)
    fold = np.array([folds[b] for b in lives["boat_id"]], dtype=np.intp)
    made = Sample(entry, lower, upper, boat, fold)
    return made.chosen(np.isfinite(upper) | (lower > entry))


def weibull_start(sample: Sample) -> Start | None:
    """Return (scale, shape) of the plain Weibull, None where no finite maximum of its likelihood exists."""
    try:
        made = weibull.estimate(sample.entry, sample.lower, sample.upper)
    except EstimateError:
        return None
    return made.scale, made.shape


def estimated(sample: Sample, family: str, start: Start | None) -> FamilyEstimate | None:
    """Return the family's estimate from a Weibull near it, None where there is no finite maximum."""
    if start is None:
        return None
    try:
        return estimate_family(sample.rows(), family, scale=start[0], shape=start[1])
    except EstimateError:
        return None


def held_out(sample: Sample, families: tuple[str, ...], start: Start | None) -> dict[str, Floats]:
    """Return by family the log score (n,) of each life, estimated on the other folds; all nan where a fold has none."""
    scores = {family: np.full(len(sample.boat), np.nan) for family in families}
    for fold in np.unique(sample.fold):
        out = sample.fold == fold
        kept, rows = sample.chosen(~out), sample.chosen(out).rows()
        for family, told in scores.items():
            made = estimated(kept, family, start) if kept.event_count else None
            if made is not None:
                told[out] = log_scores(made, rows)
    return {f: s if np.isfinite(s).all() else np.full_like(s, np.nan) for f, s in scores.items()}


def gain_over_boats(gain: Floats, boat: Ints, *, cover: float) -> tuple[float, float, float]:
    """Return the sum of `gain` (n,) with limits from its spread between boats (normal, boats independent)."""
    by_boat = np.bincount(boat, weights=gain)[np.unique(boat)]
    total = float(by_boat.sum())
    if len(by_boat) < 2 or not np.isfinite(total):
        return total, np.nan, np.nan
    reach = float(ndtri((1 + cover) / 2) * by_boat.std(ddof=1) * np.sqrt(len(by_boat)))
    return total, total - reach, total + reach
