"""From observed lives and looks to the fleets the joint estimate takes: as seen, or as perfect detection has it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bobstay.estimate.observed import Bools, Floats, Ints, Observed
from bobstay.joint import KINDS, Fleet, failed_code, look_code, suspected_code, unnamed_code

if TYPE_CHECKING:
    import pandas as pd

    from bobstay.settings import Settings

WIDE_DAYS = 62  # an installation known to two months counts from one day; a wider range is written as three copies
# Where in the range the copies stand, and their weights: between build and first record half of the parts are
# taken to be original; a range stated by the user has no such preference.
BOUNDED = ((0.0, 0.33, 0.8), (0.5, 0.25, 0.25))
STATED = ((1 / 6, 1 / 2, 5 / 6), (1 / 3, 1 / 3, 1 / 3))
DAYS_A_YEAR = 365.25
CLEAR, CONFIRMED = KINDS.index("clear"), KINDS.index("confirmed")
MOST_FOUND = 0.98  # of the cracks it can see, the most an in-place look is taken to find


def whole_fleet(seen: Observed, *, at: float | None = None) -> Fleet:
    """Return every life as arrays, a life of widely unknown age as three copies; look codes by detection row.

    With `at` such a life is taken to have been put in at that place in its range instead: 0 earliest, 1 latest.
    """
    copy_life, fraction, weight = _copies(seen) if at is None else _single(seen, at)
    row_count = max(len(seen.rows), 1)
    nowhere = np.where(seen.look_kind == CONFIRMED, failed_code(row_count), unnamed_code(row_count))
    code = np.where(seen.look_row < 0, nowhere, look_code(seen.look_row, seen.look_kind))
    shift, entry = _ages(seen, copy_life, fraction)
    asked = seen.look_suspected
    suspected = np.full(asked.sum(), suspected_code(row_count))
    return Fleet(
        class_index=seen.class_index,
        boat_index=seen.boat_index,
        covariates=seen.covariates.by_life,
        copy_life=copy_life,
        copy_log_weight=np.log(weight),
        copy_shift=shift,
        copy_entry=entry,
        copy_hidden=np.zeros(len(copy_life), dtype=bool),
        look_life=np.concatenate([seen.look_life, seen.look_life[asked]]),
        look_age=np.concatenate([seen.look_age, seen.look_age[asked]]),
        look_code=np.concatenate([code, suspected]).astype(np.intp),
        class_count=len(seen.classes),
        boat_count=len(seen.boats),
        end_years=_watched_until(seen),
    )


def _watched_until(seen: Observed) -> Floats:
    """Return by life the age to which it is followed: its end, or its first confirmed crack."""
    until = seen.lives["age_years"].to_numpy(dtype=float).copy()
    confirmed = seen.look_kind == CONFIRMED
    np.minimum.at(until, seen.look_life[confirmed], seen.look_age[confirmed])
    return np.asarray(until)


def _days(column: pd.Series[pd.Timestamp]) -> Floats:
    """Return days as numbers, NaN where there is none."""
    days = column.to_numpy(dtype="datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype(float))


def is_wide(seen: Observed) -> Bools:
    """Return the lives whose day of installation is known so roughly that it is integrated over."""
    span = _days(seen.lives["installed_latest"]) - _days(seen.lives["installed_earliest"])
    return np.asarray((np.nan_to_num(span) > WIDE_DAYS) & seen.used)


def _copies(seen: Observed) -> tuple[Ints, Floats, Floats]:
    """Return life, place in the range (NaN: the day the table counts from) and prior weight of every copy."""
    wide = is_wide(seen)
    copy_life = np.repeat(np.arange(len(wide)), np.where(wide, 3, 1)).astype(np.intp)
    fraction, weight = np.full(len(copy_life), np.nan), np.ones(len(copy_life))
    bounded = (seen.lives["age_basis"] == "bounded").to_numpy()
    for which, (places, weights) in ((wide & bounded, BOUNDED), (wide & ~bounded, STATED)):
        own = which[copy_life]
        fraction[own], weight[own] = np.tile(places, which.sum()), np.tile(weights, which.sum())
    return copy_life, fraction, weight


def _single(seen: Observed, at: float) -> tuple[Ints, Floats, Floats]:
    """Return life, place in the range and weight of copies where each life has one."""
    wide = is_wide(seen)
    return np.arange(len(wide), dtype=np.intp), np.where(wide, at, np.nan), np.ones(len(wide))


def _ages(seen: Observed, copy_life: Ints, fraction: Floats) -> tuple[Floats, Floats]:
    """Return by copy the years added to its look ages, and the age at which a late joiner came under observation."""
    counted = _days(seen.lives["installed_on"])
    first_look = np.full(len(seen.lives), np.inf)
    np.minimum.at(first_look, seen.look_life, seen.look_on.astype("datetime64[D]").astype(float))
    earliest = _days(seen.lives["installed_earliest"])
    latest = np.minimum(_latest(seen), first_look)
    installed = earliest[copy_life] + fraction * np.maximum(latest - earliest, 0.0)[copy_life]
    installed = np.where(np.isnan(fraction), counted[copy_life], installed)
    moved = _days(seen.lives["moved_on"])  # a part that was moved is watched in its new place from then on
    begins = np.where(np.isnan(moved), np.fmin(_records_begin(seen), first_look), moved)
    entry = (begins[copy_life] - installed) / DAYS_A_YEAR
    entry_years = seen.lives["entry_years"].to_numpy(dtype=float)
    late = (~(entry_years <= 0.0) & seen.used)[copy_life] | ~np.isnan(fraction)
    return (counted[copy_life] - installed) / DAYS_A_YEAR, np.where(late & (entry > 0), entry, 0.0)


def _latest(seen: Observed) -> Floats:
    """Return by life the latest day of installation: for a first part of unknown day, not after its records begin."""
    latest, begins = _days(seen.lives["installed_latest"]), _records_begin(seen)
    bounded = (seen.lives["age_basis"] == "bounded").to_numpy()
    was_there = bounded & (begins >= _days(seen.lives["installed_earliest"]))
    return np.where(was_there, np.fmin(latest, begins), latest)


def _records_begin(seen: Observed) -> Floats:
    """Return by life the day its boat's records begin: joined, or else the boat's first look (inf: neither)."""
    first = np.full(len(seen.boats), np.inf)
    days = seen.look_on.astype("datetime64[D]").astype(float)
    np.minimum.at(first, seen.boat_index[seen.look_life], days)
    joined = _days(seen.boats["joined_earliest"])
    joined = np.where(np.isnan(joined), _days(seen.boats["joined_latest"]), joined)
    return np.where(np.isnan(joined), first, joined)[seen.boat_index]


def perfect_fleet(seen: Observed) -> Fleet:
    """Return lives as perfect detection knows them: clear at lower, found at upper, watched from entry."""
    lower, upper, entry = (seen.lives[f"{name}_years"].to_numpy(dtype=float) for name in ("lower", "upper", "entry"))
    looks = np.where(lower > 0.0, lower, np.nan), np.where(np.isfinite(upper), upper, np.nan)
    return _plain(seen, looks, np.where(seen.used, np.nan_to_num(entry), 0.0))


def perfect_history(seen: Observed) -> Fleet:
    """Return what counts today under perfect detection: the last clear look not voided, and open indications."""
    clear = seen.lives["ranking_clear_years"].to_numpy(dtype=float)
    is_open = seen.lives["open_indication_on"].notna().to_numpy()
    found = np.where(is_open, seen.lives["age_years"].to_numpy(dtype=float), np.nan)
    return _plain(seen, (np.where(is_open | ~(clear > 0.0), np.nan, clear), found), np.zeros(len(seen.lives)))


def _plain(seen: Observed, ages: tuple[Floats, Floats], entry: Floats) -> Fleet:
    """Return lives of one copy with at most one clear look and one finding each, at `ages` (NaN: none)."""
    lives = len(seen.lives)
    clear, found = (np.flatnonzero(~np.isnan(part)) for part in ages)
    kind = np.repeat([CLEAR, CONFIRMED], [len(clear), len(found)]).astype(np.intp)
    return Fleet(
        class_index=seen.class_index,
        boat_index=seen.boat_index,
        covariates=seen.covariates.by_life,
        copy_life=np.arange(lives, dtype=np.intp),
        copy_log_weight=np.zeros(lives),
        copy_shift=np.zeros(lives),
        copy_entry=entry,
        copy_hidden=np.zeros(lives, dtype=bool),
        look_life=np.concatenate([clear, found]).astype(np.intp),
        look_age=np.concatenate([ages[0][clear], ages[1][found]]),
        look_code=look_code(np.zeros(len(kind), dtype=np.intp), kind),
        class_count=len(seen.classes),
        boat_count=len(seen.boats),
    )


def sight_of(rows: pd.DataFrame, found: Floats, settings: Settings) -> Floats:
    """Return by detection row the share of cracks its looks can see at all: 1, or one visible share for in-place rows.

    The share is what the settings say a method finds in place of what it finds on a removed part, the greatest of the
    methods met; it is at least what the data say is found in place. A method as good in place (eddy current) sees all.
    """
    told = [
        (settings.detection[m, s].found, settings.detection[m, "removed"].found)
        for m, s in rows.itertuples(index=False)
    ]
    share = np.array([min(own / removed, 1.0) for own, removed in told])
    capped = (share < 1.0) & (rows["scope"] == "in_place").to_numpy()
    if not capped.any():
        return np.ones(len(rows))
    visible = max(float(share[capped].max()), float(found[capped].max()) / MOST_FOUND)
    return np.where(capped & (visible < 1.0), visible, 1.0)
