"""From the tables of lives and looks to the arrays of the joint estimate."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bobstay.estimate.covariates import Covariates, covariates_of
from bobstay.joint import KINDS

Ints = NDArray[np.intp]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

NOT_USED = ("age_unknown", "indication_at_age_zero")


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
    look_row: Ints  # detection row, -1 where there was no look: an indication told of by a removal alone, a failure
    look_kind: Ints
    look_on: NDArray[np.datetime64]
    look_suspected: Bools  # made on a suspicion that no earlier finding explains


def observe(lives: pd.DataFrame, looks: pd.DataFrame, boats: pd.DataFrame, *, not_used: Bools) -> Observed:
    """Number classes, boats and detection rows, and take in the looks that tell something."""
    lives = lives.reset_index(drop=True)
    classes, class_index = _numbered(lives, ["fitting_type", "material"])
    boat_ids, boat_index = _numbered(lives, ["boat_id"])
    boats = boat_ids.merge(boats, on="boat_id", how="left", validate="one_to_one")
    told = looks[looks["shows"].isin(["clear", "indication"])]
    rows, look_row = _detection_rows(told)
    life = pd.Index(lives["life_id"]).get_indexer(pd.Index(told["life_id"])).astype(np.intp)
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
            look_kind=_kinds(told),
            look_on=told["look_on"].to_numpy(dtype="datetime64[D]"),
            look_suspected=_suspected(told),
        )
    )


def _numbered(frame: pd.DataFrame, names: list[str]) -> tuple[pd.DataFrame, Ints]:
    """Return the distinct rows of some columns, sorted, and the number of each row among them."""
    number = np.asarray(frame.groupby(names, sort=True, dropna=False).ngroup(), dtype=np.intp)
    first = frame[names].assign(number=number).drop_duplicates("number").sort_values("number")
    return first[names].reset_index(drop=True), number


def _detection_rows(looks: pd.DataFrame) -> tuple[pd.DataFrame, Ints]:
    """Return method and scope of each detection row, and the row of each look; a failure in service is no look."""
    failed = (looks["result"] == "failed").fillna(False).to_numpy(dtype=bool)
    number = np.full(len(looks), -1, dtype=np.intp)
    rows, number[~failed] = _numbered(looks.loc[~failed, ["method", "scope"]], ["method", "scope"])
    return rows, number


def _kinds(looks: pd.DataFrame) -> Ints:
    """Return the place in KINDS of each look."""
    clear = (looks["shows"] == "clear").to_numpy()
    verdict = looks["verdict"].map({word: place for place, word in enumerate(KINDS)}).fillna(1).to_numpy(dtype=np.intp)
    return np.where(clear, 0, np.where(verdict == 0, 1, verdict)).astype(np.intp)


def _suspected(told: pd.DataFrame) -> Bools:
    """Return the looks on a suspicion: not failures, and none that follows up a finding of an earlier day."""
    finding = (told["shows"] == "indication") & (told["verdict"] != "unfounded")
    first = told["look_years"].where(finding.to_numpy(dtype=bool)).groupby(told["life_id"]).transform("min")
    earlier = (first < told["look_years"]).to_numpy(dtype=bool)
    asked = (told["trigger"] == "suspicion") & (told["result"] != "failed")
    return np.asarray(asked.fillna(False).to_numpy(dtype=bool) & ~earlier)


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
        look_suspected=np.concatenate([seen.look_suspected[kept], np.zeros(len(alone), dtype=bool)]),
    )


def not_used(lives: pd.DataFrame) -> Bools:
    """Return the lives whose age says nothing: no bound on it, or an indication on the day of installation."""
    return lives["left_out"].isin(NOT_USED).to_numpy()


def real_findings(seen: Observed) -> Ints:
    """Return by life the number of findings not called unfounded."""
    real = np.isin(seen.look_kind, [KINDS.index("open"), KINDS.index("confirmed")])
    return np.bincount(seen.look_life[real], minlength=len(seen.lives)).astype(np.intp)


def counted_today(seen: Observed) -> Observed:
    """Return the looks that count for ranking: what was found clear before an event says nothing of today."""
    before = seen.lives["voided_before"].to_numpy(dtype="datetime64[D]")[seen.look_life]  # a comparison with none: no
    sound = np.isin(seen.look_kind, [KINDS.index("clear"), KINDS.index("unfounded")])
    kept = ~((seen.look_on.astype("datetime64[D]") < before) & sound)
    return replace(
        seen,
        look_life=seen.look_life[kept],
        look_age=seen.look_age[kept],
        look_row=seen.look_row[kept],
        look_kind=seen.look_kind[kept],
        look_on=seen.look_on[kept],
        look_suspected=seen.look_suspected[kept],
    )
