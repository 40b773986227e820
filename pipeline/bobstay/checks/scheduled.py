"""Looks because something was suspected, beside looks that came by the calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.checks.spans import CLASS, respanned, told_by_removal, told_looks
from bobstay.tables import SCHEDULED_LOOKS, checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

BOTH_NEEDED = "one of the two has no estimate"
APART = 0.1  # the two share most of their looks, so a tenth apart is more than their intervals would let one think
ENDS = ("", "_lower", "_upper")


def is_scheduled(looks: pd.DataFrame) -> NDArray[np.bool_]:
    """Return the looks that were scheduled, or for which no reason is stated."""
    return (looks["trigger"].isna() | (looks["trigger"] == "scheduled")).to_numpy(dtype=bool)


def on_scheduled_looks(lives: pd.DataFrame, looks: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return lives and looks as they would stand had nobody looked but on schedule.

    A life whose indication only an unscheduled look found lasts, as far as anyone knows, from its last scheduled
    clear look on. No life is marked in service: what follows is an estimate of classes alone.
    """
    told = told_looks(looks)
    by_removal = told_by_removal(lives, told)
    kept = looks[is_scheduled(looks)]
    made = respanned(lives, told[is_scheduled(told)], by_removal=by_removal)
    still_told = np.isfinite(made["upper_years"].to_numpy(dtype=float))
    reason = lives["removal_reason"].where((lives["removal_reason"] != "indication") | still_told)
    return made.assign(removal_reason=reason, is_in_service=False), kept


def scheduled_table(
    classes: pd.DataFrame, scheduled: pd.DataFrame, lives: pd.DataFrame, looks: pd.DataFrame
) -> pd.DataFrame:
    """Return tables.SCHEDULED_LOOKS from two tables of classes: on all looks, and on scheduled ones alone."""
    ages = [f"b10_years{end}" for end in ENDS]
    both = classes[[*CLASS, "event_count", *ages]].merge(
        scheduled[[*CLASS, "event_count", *ages]].rename(
            columns={"event_count": "scheduled_event_count"} | {a: f"scheduled_{a}" for a in ages}
        ),
        on=CLASS, how="left", validate="one_to_one",
    )  # fmt: skip
    both = both.merge(_look_counts(lives, looks), on=CLASS, how="left", validate="one_to_one")
    counts = ["look_count", "scheduled_look_count", "scheduled_event_count"]
    both[counts] = both[counts].fillna(0).astype("int64")
    return checked(_compared(both), SCHEDULED_LOOKS)


def _look_counts(lives: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    told = told_looks(looks)
    told = told.assign(scheduled=is_scheduled(told)).merge(lives[["life_id", *CLASS]], on="life_id", validate="m:1")
    grouped = told.groupby(CLASS, sort=True)["scheduled"].agg(look_count="size", scheduled_look_count="sum")
    return grouped.reset_index()


def _compared(both: pd.DataFrame) -> pd.DataFrame:
    one = [both[f"b10_years{end}"].to_numpy(dtype=float) for end in ENDS]
    two = [both[f"scheduled_b10_years{end}"].to_numpy(dtype=float) for end in ENDS]
    apart = np.abs(np.log(two[0] / one[0])) > np.log1p(APART)
    differs = _outside(one[0], two) | _outside(two[0], one) | apart
    earlier = np.select(
        [np.isnan(one[0] + two[0]), one[0] < two[0], two[0] < one[0]],
        ["neither", "all looks", "scheduled looks"],
        default="neither",
    )
    known = zip(differs, earlier, np.isnan(one[0] + two[0]), strict=True)
    return both.assign(
        ratio=two[0] / one[0],
        differs=differs,
        earlier=earlier,
        note=[_words(bool(d), str(e), is_missing=bool(m)) for d, e, m in known],
    )


def _outside(age: NDArray[np.float64], of: list[NDArray[np.float64]]) -> NDArray[np.bool_]:
    return (age < of[1]) | (age > of[2])


def _words(differs: bool, earlier: str, *, is_missing: bool) -> str:
    if is_missing:
        return BOTH_NEEDED
    if not differs:
        return "within a tenth of each other, each within the interval of the other"
    return f"they differ: {earlier} give the earlier age, and it counts"


def with_warning(guidance: pd.DataFrame, scheduled: pd.DataFrame) -> pd.DataFrame:
    """Return tables.GUIDANCE with a sentence where scheduled looks alone say that indications come earlier."""
    earlier = scheduled[scheduled["differs"].astype(bool) & (scheduled["earlier"] == "scheduled looks")]
    words = {
        (row["fitting_type"], row["material"]): (
            f"; scheduled looks alone put the age of one in ten at {row['scheduled_b10_years']:.1f} years, not "
            f"{row['b10_years']:.1f}: take the earlier as the warning"
        )
        for row in earlier.to_dict("records")
    }
    keys = zip(guidance["fitting_type"], guidance["material"], strict=True)
    told = [f"{text}{words.get(key, '')}" for text, key in zip(guidance["assumption"], keys, strict=True)]
    return guidance.assign(assumption=told)
