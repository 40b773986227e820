"""Does one Weibull describe a class: against bands of age, with two slopes, and by water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zlib import crc32

import numpy as np
import pandas as pd
from scipy.special import ndtri

from bobstay import turnbull
from bobstay.bounds import holm
from bobstay.censored import FamilyEstimate, ScoreTest, banded, bent, climbed, score_test, slopes, weibull
from bobstay.checks.ages import plain_age
from bobstay.checks.folds import Sample, boat_folds, estimated, sample_of, weibull_start
from bobstay.checks.spans import ALL, CLASS, used
from bobstay.errors import EstimateError
from bobstay.tables import FIT_CHECKS, checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]

FEWEST_EVENTS = 6  # below this a bend or a band says nothing
EVENTS_A_BAND = 5
MOST_BANDS = 4
FLAG_BELOW = 0.05
TOO_FEW = f"fewer than {FEWEST_EVENTS} indications: no check of the curve is possible"
UNTOLD = "too few boats with something to say"
MEASURES = {
    "curve": "largest gap, looks alone less curve, in share with an indication",
    "bend": "slope of the plot after its middle over the slope before",
    "water": "age of one in ten in fresh water over that in salt",
}


@dataclass(frozen=True, slots=True)
class Case:
    """One class: its lives that say something, which of their boats lie in fresh or salt water, its plain Weibull."""

    key: tuple[str, str]
    sample: Sample
    is_fresh: NDArray[np.bool_]
    is_salt: NDArray[np.bool_]
    made: FamilyEstimate | None
    oldest_years: float

    def seed(self, settings: Settings, check: str) -> tuple[int, ...]:
        """Return a seed of this class and check alone."""
        return settings.estimate.seed, crc32("|".join((*self.key, check)).encode())


@dataclass(frozen=True, slots=True)
class Departure:
    """How far a class departs, with its interval, the age it belongs to and the test; or why nothing can be said."""

    value: tuple[float, float, float]
    at_years: float
    test: ScoreTest | None
    note: str


NOTHING = (np.nan, np.nan, np.nan)


def fits_table(
    lives: pd.DataFrame,
    boats: pd.DataFrame,
    classes: pd.DataFrame,
    findings: pd.DataFrame | None = None,
    *,
    settings: Settings,
) -> pd.DataFrame:
    """Return tables.FIT_CHECKS of each class; `classes` gives oldest_years, beyond which no gap is looked for.

    `findings` are rows the estimate made of its own predictions, adjusted here as the others are. The three made here
    set the plain Weibull of the class, which takes looks at their word, against a wider curve by a score test whose
    p-value comes from turning boats about, so that fittings of one boat may depend on each other.
    """
    lives = used(lives)
    folds = boat_folds(lives["boat_id"], settings.estimate.seed)
    water = boats.set_index("boat_id")["water"].astype("string").str.lower()
    oldest = classes.set_index(CLASS)["oldest_years"].astype(float).to_dict()
    cases = [
        _case((str(key[0]), str(key[1])), sample_of(group, folds), water.reindex(list(folds)), oldest)
        for key, group in lives.groupby(CLASS, sort=True)
    ]
    rows = [_row(case, check, settings) for case in cases for check in ("curve", "bend", "water")]
    table = pd.DataFrame(rows, columns=[c for c in FIT_CHECKS.column_names if c not in {"p_adjusted", "is_flagged"}])
    if findings is not None:
        table = pd.concat([table, findings[table.columns]], ignore_index=True) if len(table) else findings
    adjusted = np.full(len(table), np.nan)
    for check in [*MEASURES, "findings"]:
        own = ((table["check"] == check) & (table["fitting_type"] != ALL[0])).to_numpy()
        adjusted[own] = holm(table["p_value"].to_numpy(dtype=float)[own])
    together = (table["fitting_type"] == ALL[0]).to_numpy()  # one test of its own, whatever the classes come to
    adjusted[together] = table["p_value"].to_numpy(dtype=float)[together]
    flagged = np.nan_to_num(adjusted, nan=1.0) < FLAG_BELOW
    return checked(table.assign(p_adjusted=adjusted, is_flagged=flagged), FIT_CHECKS)


def _case(key: tuple[str, str], sample: Sample, water: pd.Series[str], oldest: dict[Any, float]) -> Case:
    lies = water.fillna("").to_numpy(dtype=str)[sample.boat]
    made = _weibull(sample)
    return Case(key, sample, lies == "fresh", lies == "salt", made, float(oldest.get(key, np.nan)))


def _weibull(sample: Sample) -> FamilyEstimate | None:
    return estimated(sample, "weibull", weibull_start(sample)) if sample.event_count >= FEWEST_EVENTS else None


def _row(case: Case, check: str, settings: Settings) -> dict[str, Any]:
    told = Departure(NOTHING, np.nan, None, TOO_FEW)
    if case.made is not None:
        told = _departure(case, case.made, check, settings)
    test = told.test
    return {
        "fitting_type": case.key[0],
        "material": case.key[1],
        "check": check,
        "event_count": case.sample.event_count,
        "measure": MEASURES[check],
        "value": told.value[0],
        "value_lower": told.value[1],
        "value_upper": told.value[2],
        "at_years": told.at_years,
        "statistic": test.statistic if test else np.nan,
        "degrees": test.degrees if test else pd.NA,
        "p_value": test.p_value if test else np.nan,
        "note": told.note or (f"turned about over {test.boat_count} boats" if test else UNTOLD),
    }


def _departure(case: Case, made: FamilyEstimate, check: str, settings: Settings) -> Departure:
    if check == "water":
        return _water(case, settings)
    return (_curve if check == "curve" else _bend)(case, made, settings)


def _curve(case: Case, made: FamilyEstimate, settings: Settings) -> Departure:
    """Multiply the rate within bands of age that hold equal numbers of findings, and find the widest gap."""
    bands = min(MOST_BANDS, max(case.sample.event_count // EVENTS_A_BAND, 2))
    edges = np.unique(np.quantile(_event_ages(case.sample), np.arange(1, bands) / bands))
    theta = np.concatenate([made.theta, np.zeros(len(edges))])
    at = slopes(case.sample.rows(), banded(np.log(edges)), theta)
    seed = case.seed(settings, "curve")
    test = score_test(at.gradient, at.hessian, boat=case.sample.boat, added=len(edges), seed=seed)
    gap, age = _widest_gap(case, made, settings.estimate.interval)
    return Departure(gap, age, test, "" if test or np.isnan(age) else UNTOLD)


def _event_ages(sample: Sample) -> Floats:
    """Return the middle of each interval that holds an event."""
    seen = np.isfinite(sample.upper)
    return np.asarray((sample.lower[seen] + sample.upper[seen]) / 2)


def _widest_gap(case: Case, made: FamilyEstimate, cover: float) -> tuple[tuple[float, float, float], float]:
    """Return the gap in share with an indication where the steps of the looks alone lie farthest from the curve.

    Steps are compared where they hold: between the ages that bound each mass the data do not say where it lies.
    """
    sample = case.sample
    steps = turnbull.estimate(sample.entry, sample.lower, sample.upper)
    ages = np.unique(np.concatenate([steps.lower, steps.upper[np.isfinite(steps.upper)]]))
    ages = ages[(ages > 0) & ~(ages > case.oldest_years)]
    lower, upper = steps.limits(ages, cover=cover)
    ages, lower, upper = (part[np.isfinite(lower)] for part in (ages, lower, upper))
    if not len(ages):
        return NOTHING, np.nan
    shape, scale = np.exp(-made.theta[1]), np.exp(made.theta[0])
    curve, here = np.exp(-((ages / scale) ** shape)), steps.survival(ages)
    widest = int(np.argmax(np.abs(curve - here)))
    ends = float(curve[widest] - upper[widest]), float(curve[widest] - lower[widest])
    return (float(curve[widest] - here[widest]), *ends), float(ages[widest])


def _bend(case: Case, made: FamilyEstimate, settings: Settings) -> Departure:
    """Let the plot have another slope beyond the middle of the ages found."""
    middle = float(np.median(_event_ages(case.sample)))
    hazard, rows = bent(float(np.log(middle))), case.sample.rows()
    start = np.array([made.theta[0], -made.theta[1], 0.0])
    at = slopes(rows, hazard, start)
    test = score_test(at.gradient, at.hessian, boat=case.sample.boat, added=1, seed=case.seed(settings, "bend"))
    try:
        top = climbed(rows, hazard, start)
    except EstimateError:
        return Departure(NOTHING, middle, test, "the size of the bend has no finite estimate")
    reach = float(ndtri((1 + settings.estimate.interval) / 2) * np.sqrt(top.covariance[2, 2]))
    ends = np.exp(top.theta[2] + np.array([0.0, -reach, reach]))
    return Departure((float(ends[0]), float(ends[1]), float(ends[2])), middle, test, "")


def _water(case: Case, settings: Settings) -> Departure:
    """Give fresh water a scale and shape of its own beside salt; brackish boats are left out."""
    sample = case.sample.chosen(case.is_fresh | case.is_salt)
    fresh = case.is_fresh[case.is_fresh | case.is_salt]
    if not fresh.any() or fresh.all():
        return Departure(NOTHING, np.nan, None, "no lives in one of the two waters")
    pooled = _weibull(sample)
    if pooled is None:
        return Departure(NOTHING, np.nan, None, "too few indications in salt and fresh water together")
    test = _water_test(sample, fresh, pooled, case.seed(settings, "water"))
    value, note = _water_ratio(case.key, sample, fresh, settings)
    return Departure(value, float(pooled.quantile(0.1, cover=0.9)[0]), test, note if np.isnan(value[0]) else "")


def _water_test(
    sample: Sample, fresh: NDArray[np.bool_], pooled: FamilyEstimate, seed: tuple[int, ...]
) -> ScoreTest | None:
    """Return the score test of a shift of (ln scale, -ln shape) in fresh water."""
    rows = sample.rows()
    every, own = slopes(rows, weibull, pooled.theta), slopes(rows.chosen(fresh), weibull, pooled.theta)
    gradient = np.concatenate([every.gradient, every.gradient * fresh])
    hessian = np.block([[every.hessian, own.hessian], [own.hessian, own.hessian]])
    return score_test(gradient, hessian, boat=sample.boat, added=2, seed=seed)


def _water_ratio(
    key: tuple[str, str], sample: Sample, fresh: NDArray[np.bool_], settings: Settings
) -> tuple[tuple[float, float, float], str]:
    """Return B10 in fresh over B10 in salt with limits on the log scale from the two intervals."""
    ages = []
    for name, part in (("fresh", sample.chosen(fresh)), ("salt", sample.chosen(~fresh))):
        made = plain_age(part.entry, part.lower, part.upper, settings=settings, name="|".join((*key, name)))
        if made.why_none:
            return NOTHING, f"no ratio: {made.why_none} in {name} water"
        ages.append(np.log([made.value, made.lower, made.upper]))
    ratio = ages[0][0] - ages[1][0]
    below = np.hypot(ages[0][0] - ages[0][1], ages[1][2] - ages[1][0])
    above = np.hypot(ages[0][2] - ages[0][0], ages[1][0] - ages[1][1])
    return (float(np.exp(ratio)), float(np.exp(ratio - below)), float(np.exp(ratio + above))), ""
