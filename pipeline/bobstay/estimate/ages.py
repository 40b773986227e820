"""What an age that is only roughly known does to a chance, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from datetime import date


def unknown_age_in_words(
    chance_if_oldest: float | None,
    chance_if_newest: float | None,
    *,
    earliest: date | None = None,
    latest: date | None = None,
) -> str:
    """Return how far the unknown day of installation moves a chance; "" where the age is known well.

    The first two as in tables.CHANCES, `earliest` and `latest` as installed_earliest and installed_latest of the life.
    """
    if pd.isna(chance_if_oldest) or pd.isna(chance_if_newest):
        return ""
    first = f"earliest, {earliest:%Y-%m-%d}" if not pd.isna(earliest) else "at its earliest"
    last = f"latest, {latest:%Y-%m-%d}" if not pd.isna(latest) else "at its latest"
    return (
        f"the day it was put in is not known: the chance would be {_share(chance_if_oldest)} had it been put in "
        f"{first}, {_share(chance_if_newest)} had it been {last}"
    )


def _share(chance: float | None) -> str:
    value = 100 * float(chance or 0.0)
    return "below 1 %" if value < 1 else "above 99 %" if value > 99 else f"{value:.0f} %"
