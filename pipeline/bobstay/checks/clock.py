"""Age in hours under way beside age in years: which foretells better on boats left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.checks.folds import Sample, boat_folds, gain_over_boats, held_out, sample_of, weibull_start
from bobstay.checks.spans import ALL, CLASS, used
from bobstay.tables import USE_CLOCK, checked

if TYPE_CHECKING:
    from bobstay.settings import Settings

    Floats = np.ndarray[Any, np.dtype[np.float64]]

LEAST_HOURS = 1.0  # a boat said to sail less would have parts that never age by this clock


def clock_table(lives: pd.DataFrame, boats: pd.DataFrame, *, settings: Settings) -> pd.DataFrame:
    """Return tables.USE_CLOCK: plain Weibulls of each class by years and by hours, where the boat's hours are known.

    Hours of a life are its years times the boat's hours a year; scores are of intervals, so they compare as they are.
    """
    hours = boats.set_index("boat_id")["hours_per_year"].astype("Float64")
    by_life = hours.reindex(lives["boat_id"]).to_numpy(dtype=float, na_value=np.nan)
    known = used(lives[np.isfinite(by_life)])
    folds = boat_folds(known["boat_id"], settings.estimate.seed)
    by_boat = np.array([max(float(hours[boat]), LEAST_HOURS) for boat in folds])
    told = [
        (key, sample, *_scored(sample, by_boat, settings))
        for key, group in known.groupby(CLASS, sort=True)
        for sample in [sample_of(group, folds)]
    ]
    rows = [_row((str(key[0]), str(key[1])), [sample], [(a, b)], settings) for key, sample, a, b in told]
    both = [(sample, (a, b)) for _, sample, a, b in told if len(a) and not np.isnan(a + b).any()]
    rows.append(_row(ALL, [sample for sample, _ in both], [pair for _, pair in both], settings))
    return checked(pd.DataFrame(rows, columns=list(USE_CLOCK.column_names)), USE_CLOCK)


def _scored(sample: Sample, hours: Floats, settings: Settings) -> tuple[Floats, Floats]:
    """Return the log scores (n,) by years and by hours on boats left out, nan where there are none."""
    if sample.event_count < settings.estimate.minimum_events:
        none = np.full(len(sample.boat), np.nan)
        return none, none
    by_hours = sample.stretched(hours[sample.boat])
    pair = [held_out(s, ("weibull",), weibull_start(s))["weibull"] for s in (sample, by_hours)]
    return pair[0], pair[1]


def _row(
    key: tuple[str, str], samples: list[Sample], pairs: list[tuple[Floats, Floats]], settings: Settings
) -> dict[str, Any]:
    if samples:
        boat = np.concatenate([s.boat for s in samples])
        years, hours = (np.concatenate([p[i] for p in pairs]) for i in (0, 1))
    else:
        boat, years, hours = np.array([], dtype=np.intp), np.array([]), np.array([])
    told = len(years) > 0 and not np.isnan(years + hours).any()
    gain = gain_over_boats(hours - years, boat, cover=settings.estimate.interval) if told else (np.nan,) * 3
    better = "hours" if gain[1] > 0 else "calendar" if gain[2] < 0 else "cannot tell"
    return {
        "fitting_type": key[0],
        "material": key[1],
        "life_count": len(boat),
        "boat_count": len(np.unique(boat)),
        "event_count": sum(s.event_count for s in samples),
        "calendar_score": float(years.mean()) if told else np.nan,
        "hours_score": float(hours.mean()) if told else np.nan,
        **dict(zip(("hours_gain", "hours_gain_lower", "hours_gain_upper"), gain, strict=True)),
        "better": better,
        "note": _words(better, is_told=told, any_life=len(boat) > 0),
    }


def _words(better: str, *, is_told: bool, any_life: bool) -> str:
    if not any_life:
        return "no life on a boat whose hours a year are stated"
    if not is_told:
        return "too few indications on boats of known hours to compare clocks"
    if better == "cannot tell":
        return "the interval of the gain holds 0: the records do not say which clock is better"
    return f"{'hours under way' if better == 'hours' else 'years'} foretell better on boats left out"
