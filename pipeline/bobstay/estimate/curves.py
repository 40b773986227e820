"""What every estimate shares: the curve the data alone draw, the end of the evidence, words for its strength."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay import turnbull
from bobstay.bounds import share_upper
from bobstay.tables import NONPARAMETRIC, checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

CLASS = ["fitting_type", "material"]


def used_lives(lives: pd.DataFrame) -> pd.DataFrame:
    """Return the lives an estimate with perfect detection can use: those not left out."""
    return lives[lives["left_out"].isna()]


def evidence_word(event_count: int, *, minimum_events: int, is_refused: bool = False) -> str:
    """Return none where nothing was estimated or nothing happened, thin below `minimum_events`, else enough."""
    if is_refused or event_count == 0:
        return "none"
    return "thin" if event_count < minimum_events else "enough"


def watched_spans(lives: pd.DataFrame) -> tuple[Numbers, Numbers]:
    """Return the ages (n,) at which each life came under observation and at which its observation ended.

    It ends at the first age with an indication, else at the last age at which the life was found clear.
    """
    entry = lives["entry_years"].to_numpy(dtype=float, na_value=np.nan)
    lower = lives["lower_years"].to_numpy(dtype=float)
    upper = lives["upper_years"].to_numpy(dtype=float)
    return entry, np.where(np.isfinite(upper), upper, lower)


def at_risk(lives: pd.DataFrame, ages: Numbers) -> NDArray[np.int64]:
    """Return how many used lives were under observation at each of `ages` (k,): entry <= age <= end."""
    entry, end = watched_spans(used_lives(lives))
    entered = np.searchsorted(np.sort(entry), ages, side="right")
    return np.asarray(entered - np.searchsorted(np.sort(end), ages, side="left"), dtype=np.int64)


def oldest_years(lives: pd.DataFrame, *, minimum_at_risk: int) -> float:
    """Return the oldest age at which at least `minimum_at_risk` used lives are at risk (entry < age <= end); nan: none.

    That number falls only after an end of observation, so the oldest such age is one of the ends.
    """
    entry, end = watched_spans(used_lives(lives))
    entry, end = entry[end > entry], end[end > entry]
    ages = np.unique(end)
    watched = np.searchsorted(np.sort(entry), ages, side="left") - np.searchsorted(np.sort(end), ages, side="left")
    enough = ages[watched >= minimum_at_risk]
    return float(enough[-1]) if enough.size else float("nan")


def nonparametric_table(lives: pd.DataFrame, *, cover: float = 0.9) -> pd.DataFrame:
    """Return tables.NONPARAMETRIC of the used lives of each class: one row a stretch of age where the curve is flat.

    Intervals of nominal `cover`, one age at a time: see `turnbull.TurnbullEstimate.limits`. Boats' fittings are taken
    as independent. Where no one has had an indication yet, and where everyone has, the exact binomial limit of the
    lives at risk takes its place.
    """
    parts = [
        _class_rows(group, cover).assign(fitting_type=group["fitting_type"].iloc[0], material=group["material"].iloc[0])
        for _, group in used_lives(lives).groupby(CLASS, sort=True)
    ]
    if not parts:
        return checked(pd.DataFrame(columns=list(NONPARAMETRIC.column_names)), NONPARAMETRIC)
    return checked(pd.concat(parts, ignore_index=True), NONPARAMETRIC)


def _class_rows(lives: pd.DataFrame, cover: float) -> pd.DataFrame:
    made = turnbull.estimate(lives["entry_years"], lives["lower_years"], lives["upper_years"])
    _, end = watched_spans(lives)
    is_finite = np.isfinite(made.upper)
    starts = np.concatenate(([0.0], made.upper[is_finite]))
    ends = np.concatenate((made.lower, [max(float(end.max()), float(starts[-1]))]))[: starts.size]
    survival = made.survival(starts)
    lower, upper = made.limits(starts, cover=cover)
    watched = at_risk(lives, starts)
    lower, upper = _at_the_edges(survival, (lower, upper), ends, at_risk(lives, ends), cover=cover)
    return pd.DataFrame(
        {
            "age_from_years": starts,
            "age_to_years": np.maximum(ends, starts),
            "survival": survival,
            "survival_lower": lower,
            "survival_upper": upper,
            "at_risk": watched,
        }
    )


def _at_the_edges(
    survival: Numbers, limits: tuple[Numbers, Numbers], ends: Numbers, watched: NDArray[np.int64], *, cover: float
) -> tuple[Numbers, Numbers]:
    """Put exact limits where survival is 1 (none of those at risk had it) or 0 (all did); age 0 itself is certain."""
    side = (1 + cover) / 2
    lower, upper = limits[0].copy(), limits[1].copy()
    for i in np.flatnonzero(survival >= 1):
        lower[i], upper[i] = (1 - share_upper(0, int(watched[i]), confidence=side) if watched[i] else 0.0), 1.0
        if ends[i] == 0:
            lower[i] = 1.0
    for i in np.flatnonzero(survival <= 0):
        before = upper[i - 1] if i else 1.0
        lower[i], upper[i] = 0.0, before * share_upper(0, max(int(watched[i]), 1), confidence=side)
    return lower, upper
