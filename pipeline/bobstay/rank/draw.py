"""Fittings drawn by lot from the low places, so that the list can be proved wrong."""

from __future__ import annotations

import hashlib
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

SEASON_BEGINS = 7  # the month: haul-outs of one winter are one season
_KNOWN = ["fitting_id", "fitting_type", "material", "installed_on", "last_valid_look"]
_MISSING = "NaT"  # any word would do; this one leaves the lots of parts nobody looked at as they were drawn
_LOW = 0.5  # of a list: places below this share of it are low


def season_of(day: date) -> int:
    """Return the year in which the season of `day` began."""
    return day.year if day.month >= SEASON_BEGINS else day.year - 1


def lots(frame: pd.DataFrame, *, seed: int, season: int) -> NDArray[np.uint64]:
    """Return the number drawn for each row, (n,): made of the seed, the season and what is known of it.

    Its boat's name is left out. A row that comes or goes moves no other lot, but for the one that takes its place.
    Columns fitting_id, fitting_type, material, installed_on, last_valid_look.
    """
    told = zip(*(_texts(frame[name]) for name in _KNOWN), strict=True)
    return np.array([_lot("|".join(texts), seed, season) for texts in told], dtype=np.uint64)


def drawn(ordered: pd.DataFrame, *, count: int) -> NDArray[np.bool_]:
    """Say which rows are drawn this season: `count` of those that are left and stand in the lower half of their list.

    Those with the smallest lots are, of equal ones the higher on the list. Columns list, rank, action, lot.
    """
    lengths = ordered.groupby("list")["rank"].transform("max")
    low = (ordered["action"].eq("leave") & (ordered["rank"] > _LOW * lengths)).to_numpy(dtype=bool)
    candidates = np.flatnonzero(low)
    by_lot = np.argsort(ordered["lot"].to_numpy(dtype=np.uint64)[candidates], kind="stable")
    return np.isin(np.arange(len(ordered)), candidates[by_lot][:count])


def _texts(column: pd.Series[Any]) -> pd.Series[str]:
    """Return the cells as text, an empty one as _MISSING: what pandas writes there differs by its version."""
    return column.astype(str).where(column.notna(), _MISSING)


def _lot(text: str, seed: int, season: int) -> int:
    digest = hashlib.sha256(f"{seed}|{season}|{text}".encode()).digest()
    return int.from_bytes(digest[:8], "big")
