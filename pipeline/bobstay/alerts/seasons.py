"""Alerts about a class in the last season: more findings than its curve and the looks made would lead one to expect."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.alerts.batches import LEVEL
from bobstay.alerts.chance import LookTable, chances_to_show, clustered_tail
from bobstay.bounds import holm
from bobstay.rates_known import rates_known

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]

_CLASS = ["fitting_type", "material"]


def expected_looks(
    lives: pd.DataFrame,
    looks: pd.DataFrame,
    classes: pd.DataFrame,
    settings: Settings,
    *,
    detection: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the looks that can be set against the curves, with `is_shown` and what was `expected` of each.

    Up to the first indication that stands in each life; given the looks before it, by its class's curve and the
    estimated rates of its method (those of the settings where `detection` is not given).
    """
    frame = _countable(lives, looks, classes)
    is_perfect = settings.estimate.detection == "perfect"
    frame["is_shown"] = frame["shows"].eq("indication") & ~(frame["is_unfounded"] & is_perfect)
    frame["expected"] = _expected(frame, settings, detection) if len(frame) else 0.0
    return frame


def class_seasons(looked: pd.DataFrame, since: pd.Timestamp, spread: float) -> list[dict[str, Any]]:
    """Return an alert for each class with too many findings since `since` (Holm-adjusted, LEVEL).

    `looked` as from `expected_looks`; `spread` as in places.boats_and_yards: parts of one boat stand or fall together.
    The class's curve holds these very findings, so a true change shows a little less than it should.
    """
    season = looked[looked["look_on"] > since]
    if season.empty:
        return []
    boats = season.groupby([*_CLASS, "boat_id"], sort=True).agg(
        seen=("is_shown", "sum"), expected=("expected", "sum"), looks=("look_on", "size")
    )
    boats["variance"] = spread * boats["expected"] ** 2
    sums = boats.groupby(_CLASS, sort=True).sum()
    rows: list[Any] = list(sums.reset_index().itertuples(index=False))
    p_values = np.array([clustered_tail(int(row.seen), float(row.expected), float(row.variance)) for row in rows])
    adjusted = holm(p_values)
    return [_row(row, float(p), float(q)) for row, p, q in zip(rows, p_values, adjusted, strict=True) if q <= LEVEL]


def _countable(lives: pd.DataFrame, looks: pd.DataFrame, classes: pd.DataFrame) -> pd.DataFrame:
    """Return valid looks, in order, up to the first indication that stands, of lives the curve can speak of."""
    curves = classes.loc[classes["shape"].notna(), [*_CLASS, "shape", "scale_years"]]
    known = lives.loc[lives["entry_years"].notna(), ["life_id", "boat_id", *_CLASS, "entry_years"]]
    known = known.merge(curves, on=_CLASS, how="inner", validate="many_to_one")
    valid = looks[looks["shows"].isin(["clear", "indication"]) & looks["grade"].ne("no_information")]
    frame = valid.merge(known, on="life_id", how="inner", validate="many_to_one")
    frame = frame[frame["look_years"] >= frame["entry_years"]]
    frame = frame.sort_values(["life_id", "look_years", "look_on", "file", "line"], ignore_index=True)
    frame["is_unfounded"] = frame["verdict"].eq("unfounded").fillna(False).astype(bool)
    stands = (frame["shows"].eq("indication") & ~frame["is_unfounded"]).astype(int)
    earlier = stands.groupby(frame["life_id"]).cumsum() - stands
    return frame[earlier == 0].reset_index(drop=True)


def _expected(frame: pd.DataFrame, settings: Settings, detection: pd.DataFrame | None) -> pd.Series[float]:
    """Return the chance that each look shows an indication, given the looks before it."""
    found, false_call = _rates(frame, settings, detection)
    shape, scale = frame["shape"].to_numpy(np.float64), frame["scale_years"].to_numpy(np.float64)
    numbers, firsts = pd.factorize(frame["life_id"])
    is_first = ~frame["life_id"].duplicated()
    entry = frame["entry_years"].to_numpy(np.float64)
    table = LookTable(
        life=numbers.astype(np.int64),
        turn=np.asarray(frame.groupby("life_id", sort=False).cumcount(), dtype=np.int64),
        hazard=(frame["look_years"].to_numpy(np.float64) / scale) ** shape,
        found=found,
        false_call=false_call,
        is_clear=~frame["is_shown"].to_numpy(bool),
        is_unfounded=frame["is_unfounded"].to_numpy(bool),
    )
    entry_hazard = ((entry / scale) ** shape)[is_first.to_numpy()]
    if len(entry_hazard) != len(firsts):
        raise ValueError("looks of one life do not stand together")
    return pd.Series(chances_to_show(table, entry_hazard), index=frame.index)


def _rates(frame: pd.DataFrame, settings: Settings, detection: pd.DataFrame | None) -> tuple[Floats, Floats]:
    """Return found and false_call of each look: as estimated or set, or perfect where the settings say so."""
    if settings.estimate.detection == "perfect":
        return np.ones(len(frame)), np.zeros(len(frame))
    known = rates_known(detection, settings)
    rates = [known[pair] for pair in zip(frame["method"], frame["scope"], strict=True)]
    return np.array([r.found for r in rates]), np.array([r.false_call for r in rates])


def _row(row: Any, p_value: float, p_adjusted: float) -> dict[str, Any]:
    return {
        "kind": "class_season",
        "subject": f"{row.fitting_type} of {row.material}",
        "seen": float(row.seen),
        "expected": float(row.expected),
        "p_value": p_value,
        "p_adjusted": p_adjusted,
        "note": f"{row.seen} findings in {row.looks} looks of the last season, where {row.expected:.1f} would be "
        "expected from the class's curve. Ask what changed: a supplier, a yard, a method, or who looked.",
    }
