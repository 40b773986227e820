"""The days looked back from, and what was known on each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from datetime import date

FEWEST_FINDINGS = 5  # below this an origin is listed with its counts and no scores
LEAST_RECORDS_YEARS = 3.0


@dataclass(frozen=True, slots=True)
class Origin:
    """What was known on one day: lives, looks, and the chances of the estimate and of the plain interval model."""

    day: date
    lives: pd.DataFrame
    looks: pd.DataFrame
    chances: pd.DataFrame
    detection: pd.DataFrame
    plain_chances: pd.DataFrame


def origins(as_of: date, *, first_look: date, count: int) -> list[date]:
    """Return up to `count` days a year apart, newest first, that have at least three years of records before them."""
    days = [_years_before(as_of, n) for n in range(1, count + 1)]
    return [d for d in days if (d - first_look).days >= LEAST_RECORDS_YEARS * 365.25]


def _years_before(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:  # the 29th of February
        return day.replace(year=day.year - years, day=28)


def is_worth_scoring(day: date, looks: pd.DataFrame) -> bool:
    """Tell whether the looks of the year after `day` hold enough findings for an estimate to be scored."""
    shows = looks_after(day, looks)["shows"]
    return int((shows == "indication").sum()) >= FEWEST_FINDINGS


def looks_after(day: date, looks: pd.DataFrame) -> pd.DataFrame:
    """Return the looks of the year after `day` that count."""
    start, on = pd.Timestamp(day), pd.to_datetime(looks["look_on"])
    inside = (on > start) & (on <= start + pd.DateOffset(years=1))
    return looks[inside & looks["shows"].isin(["clear", "indication"])]
