"""Does the estimate foretell what the looks found: seen against predicted findings, by class and band of age."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.special import chdtrc, ndtri

from bobstay.joint import Predicted, predicted

if TYPE_CHECKING:
    from bobstay.estimate.observed import Bools, Floats
    from bobstay.joint import Estimated

CHECK = "findings"
MEASURE = "findings seen over predicted, in the band of age where they lie farthest apart"
FEWEST = 5  # predicted findings a band
MOST_BANDS, MOST_BANDS_IN_ALL = 4, 10
ALL = ("all fittings", "all materials")


def findings_rows(estimated: Estimated, classes: pd.DataFrame, *, interval: float) -> pd.DataFrame:
    """Return rows of tables.FIT_CHECKS (not adjusted): each class of `classes`, and all together.

    Each look is held against its chance to show an indication given the looks before it; seen less predicted over its
    standard deviation, squared and summed over bands, is chi-square with as many degrees as bands (Pearson 1900). That
    the estimate was made from the same looks makes the p-value too high rather than too low.
    """
    told = predicted(estimated.model, estimated.point)
    names = classes[["fitting_type", "material"]].itertuples(index=False)
    rows = [
        _row((str(kind), str(material)), told, told.class_index == k, bands=MOST_BANDS, interval=interval)
        for k, (kind, material) in enumerate(names)
    ]
    every = np.ones(len(told.chance), dtype=bool)
    return pd.DataFrame([*rows, _row(ALL, told, every, bands=MOST_BANDS_IN_ALL, interval=interval)])


def _row(key: tuple[str, str], told: Predicted, own: Bools, *, bands: int, interval: float) -> dict[str, Any]:
    age, shows, chance = told.age_years[own], told.shows[own], told.chance[own]
    count = min(int(chance.sum() // FEWEST), bands)
    row = {"fitting_type": key[0], "material": key[1], "check": CHECK, "event_count": int(shows.sum()),
           "measure": MEASURE}  # fmt: skip
    if not count:
        return row | _nothing(f"fewer than {FEWEST} findings predicted: they cannot be held against those seen")
    seen, expected, variance, middle = _banded(age, shows, chance, count)
    apart = (seen - expected) / np.sqrt(variance)
    worst = int(np.argmax(np.abs(apart)))
    reach = float(ndtri((1 + interval) / 2) * np.sqrt(variance[worst]) / expected[worst])
    value = float(seen[worst] / expected[worst])
    statistic = float((apart**2).sum())
    return row | {
        "value": value,
        "value_lower": max(value - reach, 0.0),
        "value_upper": value + reach,
        "at_years": float(middle[worst]),
        "statistic": statistic,
        "degrees": count,
        "p_value": float(chdtrc(count, statistic)),
        "note": f"{seen.sum():.0f} seen, {expected.sum():.1f} predicted, in {count} bands of age",
    }


def _banded(age: Floats, shows: Floats, chance: Floats, count: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Return by band (of as many predicted findings) those seen, predicted, their variance, and its middle age."""
    order = np.argsort(age, kind="stable")
    age, shows, chance = age[order], shows[order], chance[order]
    run = np.cumsum(chance)
    band = np.minimum((run - chance / 2) * count / run[-1], count - 1e-9).astype(np.intp)
    seen, expected, variance, weighed = (
        np.bincount(band, values, minlength=count).astype(float)
        for values in (shows, chance, chance * (1 - chance), chance * age)
    )
    return seen, expected, variance, weighed / expected


def _nothing(note: str) -> dict[str, Any]:
    blank = dict.fromkeys(["value", "value_lower", "value_upper", "at_years", "statistic", "p_value"], np.nan)
    return blank | {"degrees": pd.NA, "note": note}
