"""The plain job as a script of pandas and lifelines would do it: what `bobstay.bench.whole` sets ours beside.

Read the three files, drop what cannot be read or named, find for each fitting its last clear look before its first
indication, estimate a Weibull of each class from interval-censored lives, and list the fittings by chance. No row is
explained or kept, no interval given, no look graded: as short as the job can be and in the library's own calls.
"""

from __future__ import annotations

import warnings
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

CLASS = ["fitting_type", "material"]
PART = ["boat_id", "fitting_id"]
FOUND, CLEAR = ("relevant", "failed"), ("no_indication", "non_relevant")
METHODS = ("visual", "magnified", "penetrant", "fluorescent_penetrant", "ultrasonic", "eddy_current", "magnetic")


def ranked(files: Sequence[Path], *, as_of: date, horizon_years: float = 1.0) -> pd.DataFrame:
    """Return the fittings of boats, fittings and looks (CSV or Parquet) by chance of an indication by the horizon."""
    boats, fittings, looks = map(_read, files)
    fittings = fittings[fittings["boat_id"].isin(boats["boat_id"])]
    lives = _lives(fittings, _usable(looks, fittings))
    parts = [_with_chance(group, as_of, horizon_years) for _, group in lives.groupby(CLASS, sort=True)]
    order = ["chance", *PART]
    return pd.concat(parts).sort_values(order, ascending=[False, True, True], ignore_index=True)


def _read(path: Path) -> pd.DataFrame:
    return pd.read_parquet(path) if path.suffix == ".parquet" else pd.read_csv(path, low_memory=False)


def _usable(looks: pd.DataFrame, fittings: pd.DataFrame) -> pd.DataFrame:
    """Return the looks whose id stands once, whose method is known and whose fitting is listed, with a real day."""
    looks = looks.drop_duplicates("inspection_id")
    looks = looks[looks["method"].isin(METHODS)]
    looks = looks.merge(fittings[PART], on=PART, how="inner")
    return looks.assign(day=pd.to_datetime(looks["inspected_on"]))


def _lives(fittings: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    """Return one row a fitting: ages of the last clear look before the first indication, and of that indication."""
    first = looks[looks["result"].isin(FOUND)].groupby(PART)["day"].min().rename("found_on")
    clear = looks[looks["result"].isin(CLEAR)].merge(first, on=PART, how="left")
    before = clear[clear["found_on"].isna() | (clear["day"] < clear["found_on"])]
    last = before.groupby(PART)["day"].max().rename("clear_on")
    lives = fittings.merge(first, on=PART, how="left").merge(last, on=PART, how="left")
    born = pd.to_datetime(lives["installed"])
    lower = ((lives["clear_on"] - born).dt.days / 365.25).fillna(0.0)
    upper = ((lives["found_on"] - born).dt.days / 365.25).fillna(np.inf)
    return lives.assign(born=born, lower=lower, upper=upper)


def _with_chance(group: pd.DataFrame, as_of: date, horizon_years: float) -> pd.DataFrame:
    """Return the fittings of one class with their chance by the horizon given the last clear look."""
    from lifelines import WeibullFitter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what it says of its search is not what is timed
        made = WeibullFitter().fit_interval_censoring(group["lower"], group["upper"])
    by = (pd.Timestamp(as_of) - group["born"]).dt.days / 365.25 + horizon_years
    hazard = (by / made.lambda_) ** made.rho_ - (group["lower"] / made.lambda_) ** made.rho_
    return group.assign(chance=np.where(np.isfinite(group["upper"]), 1.0, -np.expm1(-hazard)))
