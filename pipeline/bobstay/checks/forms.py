"""Families of curves side by side: by Akaike's criterion, and on boats left out of the estimate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.censored import FAMILIES, FamilyEstimate
from bobstay.checks.folds import Sample, boat_folds, estimated, gain_over_boats, held_out, sample_of, weibull_start
from bobstay.checks.spans import ALL, CLASS, used
from bobstay.tables import FAMILIES as TABLE
from bobstay.tables import checked

if TYPE_CHECKING:
    from bobstay.settings import Settings

    Floats = np.ndarray[Any, np.dtype[np.float64]]

NAMES = tuple(FAMILIES)
AIC_MARGIN = 4.0  # a difference of about 4 to 7 leaves the worse curve considerably less support (Burnham, Anderson)
RULE = (
    f"a family is clearly better where its AIC is lower by more than {AIC_MARGIN:g} and the whole interval of its gain "
    "on boats left out is above 0; else the Weibull stays"
)
TOO_FEW = "too few indications to compare curves on boats left out"


@dataclass(frozen=True, slots=True)
class Compared:
    """A sample with each family's estimate (None: none) and its scores (n,) on boats left out (nan: none)."""

    key: tuple[str, str]
    sample: Sample
    made: dict[str, FamilyEstimate | None]
    scores: dict[str, Floats]


def families_table(lives: pd.DataFrame, *, settings: Settings) -> pd.DataFrame:
    """Return tables.FAMILIES: each class and all together, every family by plain maximum likelihood."""
    lives = used(lives)
    folds = boat_folds(lives["boat_id"], settings.estimate.seed)
    compared = [
        _compared((str(key[0]), str(key[1])), sample_of(group, folds), settings)
        for key, group in lives.groupby(CLASS, sort=True)
    ]
    cover = settings.estimate.interval
    rows = [_row(c, family, cover) for c in compared for family in NAMES]
    rows += [_row_of_all(compared, family, cover) for family in NAMES]
    return checked(pd.DataFrame(rows, columns=list(TABLE.column_names)), TABLE)


def _compared(key: tuple[str, str], sample: Sample, settings: Settings) -> Compared:
    none = np.full(len(sample.boat), np.nan)
    if sample.event_count < settings.estimate.minimum_events:
        return Compared(key, sample, dict.fromkeys(NAMES), dict.fromkeys(NAMES, none))
    start = weibull_start(sample)
    made = {f: estimated(sample, f, start) for f in NAMES}
    return Compared(key, sample, made, held_out(sample, NAMES, start))


def _row(compared: Compared, family: str, cover: float) -> dict[str, Any]:
    sample, made, reference = compared.sample, compared.made[family], compared.made["weibull"]
    scores = compared.scores[family]
    gain = gain_over_boats(scores - compared.scores["weibull"], sample.boat, cover=cover)
    row = _counted(compared.key, family, [sample]) | _gained(float(scores.mean()) if len(scores) else np.nan, gain)
    if made is None:
        return row | {"is_clearly_better": False, "note": "no finite estimate, or too few indications"}
    b10, low, high = made.quantile(0.1, cover=cover)
    row |= {"log_likelihood": made.log_likelihood, "aic": made.aic, "b10_years": b10, "b10_years_lower": low}
    lead = reference.aic - made.aic if reference is not None else np.nan
    better = family != "weibull" and bool(lead > AIC_MARGIN and gain[1] > 0)
    note = TOO_FEW if np.isnan(gain[0]) else RULE
    return row | {"b10_years_upper": high, "is_clearly_better": better, "note": note}


def _row_of_all(compared: list[Compared], family: str, cover: float) -> dict[str, Any]:
    """Return the sums over the classes in which both the family and the Weibull could be scored."""
    both = [c for c in compared if c.made[family] and c.made["weibull"] and not np.isnan(_gain(c, family)).any()]
    if not both:
        return _counted(ALL, family, []) | {"is_clearly_better": False, "note": TOO_FEW}
    scores = np.concatenate([c.scores[family] for c in both])
    boat = np.concatenate([c.sample.boat for c in both])
    gain = gain_over_boats(np.concatenate([_gain(c, family) for c in both]), boat, cover=cover)
    made = [c.made[family] for c in both]
    own, reference = (sum(m.aic for m in side if m) for side in (made, [c.made["weibull"] for c in both]))
    better = family != "weibull" and bool(reference - own > AIC_MARGIN and gain[1] > 0)
    row = _counted(ALL, family, [c.sample for c in both]) | _gained(float(scores.mean()), gain)
    sums = {"log_likelihood": sum(m.log_likelihood for m in made if m), "aic": own}
    return row | sums | {"is_clearly_better": better, "note": f"sum over {len(both)} classes; {RULE}"}


def _gain(compared: Compared, family: str) -> Floats:
    return np.asarray(compared.scores[family] - compared.scores["weibull"])


def _counted(key: tuple[str, str], family: str, samples: list[Sample]) -> dict[str, Any]:
    boats = {int(b) for s in samples for b in s.boat}
    return {
        "fitting_type": key[0],
        "material": key[1],
        "family": family,
        "life_count": sum(len(s.boat) for s in samples),
        "boat_count": len(boats),
        "event_count": sum(s.event_count for s in samples),
    }


def _gained(score: float, gain: tuple[float, float, float]) -> dict[str, float]:
    names = ("held_out_gain", "held_out_gain_lower", "held_out_gain_upper")
    return {"held_out_score": score} | dict(zip(names, gain, strict=True))
