"""Until when a clear look counts."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]


def clear_until(frame: pd.DataFrame, settings: Settings, as_of: date) -> pd.Series[pd.Timestamp]:
    """Return the day the last clear look stops counting; none without a clear look or with an open indication.

    The earlier of `guidance.clear_counts_years` after the look, and the day the chance passes the class's test limit,
    read off between the as-of date and the horizon (hazard taken as steady between them). A limit passed already
    gives the as-of date, unless the first rule ended it before.
    """
    counts = pd.to_timedelta(round(settings.guidance.clear_counts_years * 365.25), unit="D")
    by_age = frame["clear_on"] + counts
    limit = np.array([settings.guidance.test_limit[int(c)] for c in frame["consequence"]])
    wait = _years_to_limit(frame["chance_now"].to_numpy(np.float64), frame["chance"].to_numpy(np.float64), limit)
    days = np.minimum(np.floor(wait * settings.horizon_years * 365.25), 3e4)
    by_chance = pd.Timestamp(as_of) + pd.to_timedelta(pd.Series(days, index=frame.index), unit="D")
    earlier = by_age.where(by_chance.isna() | (by_age <= by_chance), by_chance)
    return earlier.where(~frame["acts"] & frame["clear_on"].notna())


def _years_to_limit(now: Floats, later: Floats, limit: Floats) -> Floats:
    """Return the part of the horizon after which the chance passes `limit`; inf where it does not, NaN unknown."""
    hazard_now, hazard_later, hazard_limit = (-np.log1p(-np.minimum(p, 1 - 1e-12)) for p in (now, later, limit))
    rise = hazard_later - hazard_now
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.clip((hazard_limit - hazard_now) / rise, 0, None)
    unknown = np.isnan(now) | np.isnan(later)
    return np.where(unknown, np.nan, np.where(now >= limit, 0.0, np.where(later < limit, np.inf, part)))
