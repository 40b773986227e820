"""What lives look like to somebody who reads the looks in another way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

CLASS = ["fitting_type", "material"]
ALL = ("all fittings", "all materials")


def used(lives: pd.DataFrame) -> pd.DataFrame:
    """Return the lives a plain estimate can use."""
    return lives[lives["left_out"].isna()]


def told_looks(looks: pd.DataFrame) -> pd.DataFrame:
    """Return the looks that tell something: life_id, look_years, is_finding (not called unfounded)."""
    told = looks[looks["shows"].isin(["clear", "indication"])]
    finding = (told["shows"] == "indication") & (told["verdict"] != "unfounded")
    return told.assign(is_finding=finding.to_numpy(dtype=bool))


def told_by_removal(lives: pd.DataFrame, told: pd.DataFrame) -> Bools:
    """Return the lives whose indication only the removal it led to tells of, no look."""
    finite = np.isfinite(lives["upper_years"].to_numpy(dtype=float))
    seen = lives["life_id"].isin(told.loc[told["is_finding"], "life_id"]).to_numpy(dtype=bool)
    return np.asarray(finite & ~seen)


def respanned(lives: pd.DataFrame, told: pd.DataFrame, *, by_removal: Bools) -> pd.DataFrame:
    """Return `lives` with entry, lower, upper and left_out worked out anew from `told` (life_id, look_years,
    is_finding).

    The rules are those of the table lives: the first finding ends the interval, the last clear look before it begins
    it, and a late joiner enters at its first clear look. `by_removal` marks lives that keep their upper age.
    """
    life = lives["life_id"]
    found = told[told["is_finding"]].groupby("life_id")["look_years"].min().reindex(life).to_numpy(dtype=float)
    upper = np.fmin(found, np.where(by_removal, lives["upper_years"].to_numpy(dtype=float), np.nan))
    upper = np.where(np.isnan(upper), np.inf, upper)
    limit = pd.Series(upper, index=pd.Index(life))
    clear = told[~told["is_finding"]]
    clear = clear[clear["look_years"].to_numpy(dtype=float) < limit.reindex(clear["life_id"]).to_numpy(dtype=float)]
    ages = clear.groupby("life_id")["look_years"].agg(["min", "max"]).reindex(life)
    first, last = ages["min"].to_numpy(dtype=float), ages["max"].to_numpy(dtype=float)
    is_late = ~(lives["entry_years"].to_numpy(dtype=float, na_value=np.nan) == 0.0)
    entry = np.where(is_late, first, 0.0)
    unknown = (lives["age_basis"] == "at_least").to_numpy()
    entry = np.where(unknown, np.nan, entry)
    return lives.assign(
        entry_years=entry,
        lower_years=np.where(np.isnan(last), 0.0, last),
        upper_years=upper,
        left_out=_left_out(unknown, entry, upper),
    )


def _left_out(unknown: Bools, entry: Floats, upper: Floats) -> NDArray[np.object_]:
    """Return why each life cannot be used, None where it can; the first reason that holds counts."""
    late = np.isnan(entry)
    reasons = np.full(len(upper), None, dtype=object)
    reasons[upper <= 0] = "indication_at_age_zero"
    reasons[late] = "joined_late_no_clear_look"
    reasons[late & np.isfinite(upper)] = "joined_late_first_look_indication"
    reasons[unknown] = "age_unknown"
    return reasons
