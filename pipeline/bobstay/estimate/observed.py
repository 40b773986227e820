"""From the tables of lives and looks to the arrays of the joint estimate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bobstay.estimate.covariates import Covariates, covariates_of
from bobstay.joint import KINDS, Fleet, look_code, unnamed_code

if TYPE_CHECKING:
    from bobstay.settings import Settings

Ints = NDArray[np.intp]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WIDE_DAYS = 62  # an installation known to two months counts from one day; a wider range is written as three copies
# Where in the range the copies stand, and their weights: between build and first record half of the parts are
# taken to be original; a range stated by the user has no such preference.
BOUNDED = ((0.0, 0.33, 0.8), (0.5, 0.25, 0.25))
STATED = ((1 / 6, 1 / 2, 5 / 6), (1 / 3, 1 / 3, 1 / 3))
NOT_USED = ("age_unknown", "indication_at_age_zero")
DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class Observed:
    """Lives in the order of the table, with class and boat numbers, and their looks as arrays."""

    lives: pd.DataFrame
    classes: pd.DataFrame  # fitting_type, material in order of class number
    boats: pd.DataFrame  # one row a boat number
    class_index: Ints
    boat_index: Ints
    used: Bools
    covariates: Covariates
    rows: pd.DataFrame  # method, scope in order of detection row
    look_life: Ints
    look_age: Floats
    look_row: Ints  # detection row, -1 for an indication whose look is not on record
    look_kind: Ints
    look_on: NDArray[np.datetime64]


def observe(lives: pd.DataFrame, looks: pd.DataFrame, boats: pd.DataFrame, *, not_used: Bools) -> Observed:
    """Number classes, boats and detection rows, and take in the looks that tell something."""
    lives = lives.reset_index(drop=True)
    classes, class_index = _numbered(lives, ["fitting_type", "material"])
    boat_ids, boat_index = _numbered(lives, ["boat_id"])
    boats = boat_ids.merge(boats, on="boat_id", how="left", validate="one_to_one")
    told = looks[looks["shows"].isin(["clear", "indication"])]
    rows, look_row = _numbered(told, ["method", "scope"])
    life = pd.Index(lives["life_id"]).get_indexer(pd.Index(told["life_id"])).astype(np.intp)
    kind = _kinds(told)
    return _with_unnamed(
        Observed(
            lives=lives,
            classes=classes,
            boats=boats,
            class_index=class_index,
            boat_index=boat_index,
            used=~not_used,
            covariates=covariates_of(lives, boats, boat_index, ~not_used),
            rows=rows,
            look_life=life,
            look_age=told["look_years"].to_numpy(dtype=float),
            look_row=look_row,
            look_kind=kind,
            look_on=told["look_on"].to_numpy(dtype="datetime64[D]"),
        )
    )


def _numbered(frame: pd.DataFrame, names: list[str]) -> tuple[pd.DataFrame, Ints]:
    """Return the distinct rows of some columns, sorted, and the number of each row among them."""
    number = frame.groupby(names, sort=True, dropna=False).ngroup().to_numpy(dtype=np.intp)
    first = frame[names].assign(number=number).drop_duplicates("number").sort_values("number")
    return first[names].reset_index(drop=True), number


def _kinds(looks: pd.DataFrame) -> Ints:
    """Return the place in KINDS of each look."""
    clear = (looks["shows"] == "clear").to_numpy()
    verdict = looks["verdict"].map({word: place for place, word in enumerate(KINDS)}).fillna(1).to_numpy(dtype=np.intp)
    return np.where(clear, 0, np.where(verdict == 0, 1, verdict)).astype(np.intp)


def _with_unnamed(seen: Observed) -> Observed:
    """Stop each life at its first confirmed crack, and add indications told of only by the removal they led to."""
    end = np.full(len(seen.lives), np.inf)
    confirmed = seen.look_kind == KINDS.index("confirmed")
    np.minimum.at(end, seen.look_life[confirmed], seen.look_age[confirmed])
    kept = (seen.look_age <= end[seen.look_life]) & (seen.look_life >= 0)
    real = np.isin(seen.look_kind, [KINDS.index("open"), KINDS.index("confirmed")])
    has_finding = np.bincount(seen.look_life[real & kept], minlength=len(seen.lives)) > 0
    upper = seen.lives["upper_years"].to_numpy(dtype=float)
    alone = np.flatnonzero(
        np.isfinite(upper) & ~has_finding & (seen.lives["removal_reason"] == "indication").to_numpy()
    )
    nowhere = np.full(len(alone), -1, dtype=np.intp)
    return replace(
        seen,
        look_life=np.concatenate([seen.look_life[kept], alone]),
        look_age=np.concatenate([seen.look_age[kept], upper[alone]]),
        look_row=np.concatenate([seen.look_row[kept], nowhere]),
        look_kind=np.concatenate([seen.look_kind[kept], np.full(len(alone), KINDS.index("open"), dtype=np.intp)]),
        look_on=np.concatenate([seen.look_on[kept], seen.lives["ended_on"].to_numpy(dtype="datetime64[D]")[alone]]),
    )


def not_used(lives: pd.DataFrame) -> Bools:
    """Return the lives whose age says nothing: no bound on it, or an indication on the day of installation."""
    return lives["left_out"].isin(NOT_USED).to_numpy()


def real_findings(seen: Observed) -> Ints:
    """Return by life the number of findings not called unfounded."""
    real = np.isin(seen.look_kind, [KINDS.index("open"), KINDS.index("confirmed")])
    return np.bincount(seen.look_life[real], minlength=len(seen.lives)).astype(np.intp)


def whole_fleet(seen: Observed) -> Fleet:
    """Return every life as arrays, a life of widely unknown age as three copies; look codes by detection row."""
    copy_life, fraction, weight = _copies(seen)
    row_count = max(len(seen.rows), 1)
    code = np.where(seen.look_row < 0, unnamed_code(row_count), look_code(seen.look_row, seen.look_kind))
    shift, entry = _ages(seen, copy_life, fraction)
    return Fleet(
        class_index=seen.class_index,
        boat_index=seen.boat_index,
        covariates=seen.covariates.by_life,
        copy_life=copy_life,
        copy_log_weight=np.log(weight),
        copy_shift=shift,
        copy_entry=entry,
        copy_hidden=np.zeros(len(copy_life), dtype=bool),
        look_life=seen.look_life,
        look_age=seen.look_age,
        look_code=code.astype(np.intp),
        class_count=len(seen.classes),
        boat_count=len(seen.boats),
    )


def _days(column: pd.Series[pd.Timestamp]) -> Floats:
    """Return days as numbers, NaN where there is none."""
    days = column.to_numpy(dtype="datetime64[D]")
    return np.where(np.isnat(days), np.nan, days.astype(float))


def _is_wide(seen: Observed) -> Bools:
    span = _days(seen.lives["installed_latest"]) - _days(seen.lives["installed_earliest"])
    return np.asarray((np.nan_to_num(span) > WIDE_DAYS) & seen.used)


def _copies(seen: Observed) -> tuple[Ints, Floats, Floats]:
    """Return life, place in the range (NaN: the day the table counts from) and prior weight of every copy."""
    wide = _is_wide(seen)
    copy_life = np.repeat(np.arange(len(wide)), np.where(wide, 3, 1)).astype(np.intp)
    fraction, weight = np.full(len(copy_life), np.nan), np.ones(len(copy_life))
    bounded = (seen.lives["age_basis"] == "bounded").to_numpy()
    for which, (places, weights) in ((wide & bounded, BOUNDED), (wide & ~bounded, STATED)):
        own = which[copy_life]
        fraction[own], weight[own] = np.tile(places, which.sum()), np.tile(weights, which.sum())
    return copy_life, fraction, weight


def _ages(seen: Observed, copy_life: Ints, fraction: Floats) -> tuple[Floats, Floats]:
    """Return by copy the years added to its look ages, and the age at which a late joiner came under observation."""
    counted = _days(seen.lives["installed_on"])
    first_look = np.full(len(seen.lives), np.inf)
    np.minimum.at(first_look, seen.look_life, seen.look_on.astype("datetime64[D]").astype(float))
    earliest = _days(seen.lives["installed_earliest"])
    latest = np.minimum(_days(seen.lives["installed_latest"]), first_look)
    installed = earliest[copy_life] + fraction * np.maximum(latest - earliest, 0.0)[copy_life]
    installed = np.where(np.isnan(fraction), counted[copy_life], installed)
    begins = np.fmin(_records_begin(seen), first_look)
    entry = (begins[copy_life] - installed) / DAYS_A_YEAR
    entry_years = seen.lives["entry_years"].to_numpy(dtype=float)
    late = (~(entry_years <= 0.0) & seen.used)[copy_life] | ~np.isnan(fraction)
    return (counted[copy_life] - installed) / DAYS_A_YEAR, np.where(late & (entry > 0), entry, 0.0)


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
    clear, found = np.flatnonzero(lower > 0), np.flatnonzero(np.isfinite(upper))
    return _plain(seen, clear, lower[clear], found, upper[found], np.where(seen.used, np.nan_to_num(entry), 0.0))


def perfect_history(seen: Observed) -> Fleet:
    """Return what counts today under perfect detection: the last clear look not voided, and open indications."""
    clear_years = seen.lives["ranking_clear_years"].to_numpy(dtype=float)
    is_open = seen.lives["open_indication_on"].notna().to_numpy()
    clear, found = np.flatnonzero((clear_years > 0) & ~is_open), np.flatnonzero(is_open)
    age = np.maximum(seen.lives["age_years"].to_numpy(dtype=float), 0.0)
    return _plain(seen, clear, clear_years[clear], found, age[found], np.zeros(len(seen.lives)))


def _plain(seen: Observed, clear: Ints, clear_years: Floats, found: Ints, found_years: Floats, entry: Floats) -> Fleet:
    lives = len(seen.lives)
    kind = np.repeat([KINDS.index("clear"), KINDS.index("confirmed")], [len(clear), len(found)])
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
        look_age=np.concatenate([clear_years, found_years]),
        look_code=look_code(np.zeros(len(kind), dtype=np.intp), kind.astype(np.intp)),
        class_count=len(seen.classes),
        boat_count=len(seen.boats),
    )


def counted_today(seen: Observed) -> Observed:
    """Return the looks that count for ranking: those before an event that voided them tell nothing of today."""
    lives = seen.lives
    voided = (lives["voided_by"].notna() & lives["ranking_clear_years"].isna()).to_numpy()
    sound = np.isin(seen.look_kind, [KINDS.index("clear"), KINDS.index("unfounded")])
    kept = ~(voided[seen.look_life] & sound)
    return replace(
        seen,
        look_life=seen.look_life[kept],
        look_age=seen.look_age[kept],
        look_row=seen.look_row[kept],
        look_kind=seen.look_kind[kept],
        look_on=seen.look_on[kept],
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
    visible = max(float(share[capped].max()), float(found[capped].max()) / 0.98)
    return np.where(capped & (visible < 1.0), visible, 1.0)
