"""The plain estimate: perfect detection, each class by itself, no covariates and no priors."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np
import pandas as pd

from bobstay import weibull
from bobstay.errors import EstimateError
from bobstay.estimate.curves import CLASS, evidence_word, nonparametric_table, oldest_years, used_lives
from bobstay.estimate.few import bound_in_words
from bobstay.estimate.plain_chances import Curve, Curves, chances_table, no_chances
from bobstay.estimate.record import Estimates
from bobstay.tables import CLASS_DRAWS, CLASSES, DETECTION, checked

if TYPE_CHECKING:
    from datetime import date

    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Numbers = NDArray[np.float64]

CLASS_COLUMNS = (  # of lives
    *("boat_id", "fitting_type", "material", "entry_years", "lower_years", "upper_years", "left_out"),
)
_MOST_DRAW_ROWS = 500_000


@dataclass(frozen=True, slots=True)
class ClassEstimate:
    """A class, the lives its estimate uses, and the curve or the reason why there is none."""

    fitting_type: str
    material: str
    lives: pd.DataFrame
    left_out_count: int
    curve: Curve | None
    why_none: str

    @property
    def event_count(self) -> int:
        """Lives with an indication."""
        return int(np.isfinite(self.lives["upper_years"].to_numpy(dtype=float)).sum())


def estimate_plain(
    lives: pd.DataFrame,
    looks: pd.DataFrame,
    boats: pd.DataFrame,  # noqa: ARG001 - one signature for every estimate; covariates are of no use here
    *,
    as_of: date,  # noqa: ARG001 - ages in `lives` already run to that day
    settings: Settings,
) -> Estimates:
    """Estimate each class of `lives` by plain maximum likelihood and rank every life in service by it.

    Every look counts as right (found = 1, false_call = 0). A class is evidence enough from minimum_events on, thin
    below, none where no finite maximum exists; its chances are then borrowed from its type, or from all lives.
    """
    made, curves = estimate_classes(lives, looks, settings=settings)
    return replace(made, chances=chances_table(lives, curves, settings))


def estimate_classes(lives: pd.DataFrame, looks: pd.DataFrame, *, settings: Settings) -> tuple[Estimates, Curves]:
    """Return all of `estimate_plain` but the chances, and the curves that `chances_table` makes them from.

    Of `lives` the CLASS_COLUMNS are read.
    """
    classes = [_class_estimate(group, settings) for _, group in lives.groupby(CLASS, sort=True)]
    made = Estimates(
        classes=_classes_table(classes, settings),
        detection=_detection_table(looks, settings),
        nonparametric=nonparametric_table(lives, cover=settings.estimate.interval),
        chances=no_chances(),
        class_draws=_draws_table(classes, settings),
    )
    return made, _curve_finder(lives, classes, settings)


def _class_estimate(group: pd.DataFrame, settings: Settings) -> ClassEstimate:
    fitting_type, material = str(group["fitting_type"].iloc[0]), str(group["material"].iloc[0])
    used = used_lives(group)
    curve, why_none = _curve(used, f"{fitting_type}|{material}", settings)
    return ClassEstimate(fitting_type, material, used, len(group) - len(used), curve, why_none)


def _curve(used: pd.DataFrame, name: str, settings: Settings) -> tuple[Curve | None, str]:
    """Return the curve of `used` lives, or why there is none; draws depend on `name` alone, not on other classes."""
    if used.empty:
        return None, "no estimate: no life the estimate can use"
    upper = used["upper_years"].to_numpy(dtype=float)
    if not np.isfinite(upper).any():
        bound = bound_in_words(used, event_count=0, found=1.0)
        return None, f"no estimate, a bound only: {bound}" if bound else "no estimate: no indication and no clear look"
    try:
        made = weibull.estimate(used["entry_years"], used["lower_years"], upper)
    except EstimateError as fault:
        return None, f"no estimate: {fault.what}"
    how = settings.estimate
    return Curve(made, weibull.draws(made, how.draws, seed=(how.seed, crc32(name.encode())))), ""


def _classes_table(classes: list[ClassEstimate], settings: Settings) -> pd.DataFrame:
    rows = [_class_row(c, settings) for c in classes]
    return checked(pd.DataFrame(rows, columns=list(CLASSES.column_names)), CLASSES)


def _class_row(made: ClassEstimate, settings: Settings) -> dict[str, object]:
    events, least = made.event_count, settings.estimate.minimum_events
    evidence = evidence_word(events, minimum_events=least, is_refused=made.curve is None)
    return {
        "fitting_type": made.fitting_type,
        "material": made.material,
        "life_count": len(made.lives),
        "boat_count": int(made.lives["boat_id"].nunique()),
        "event_count": events,
        "oldest_years": oldest_years(made.lives, minimum_at_risk=settings.guidance.minimum_at_risk),
        **_numbers(made.curve, settings.estimate.interval),
        "evidence": evidence,
        "model": _model_words(made, evidence),
        "left_out_count": made.left_out_count,
    }


def _model_words(made: ClassEstimate, evidence: str) -> str:
    if made.curve is None:
        return made.why_none
    words = "Weibull of the class alone by maximum likelihood, every look taken as right"
    if evidence != "thin":
        return words
    bound = bound_in_words(made.lives, event_count=made.event_count, found=1.0)
    return f"{words}; too few indications to stand as an estimate of its own" + (f"; {bound}" if bound else "")


def _numbers(curve: Curve | None, cover: float) -> dict[str, float]:
    """Return estimates and their limits; those of the age by which one in ten has it from the draws."""
    names = ("shape", "scale_years", "b10_years")
    if curve is None:
        return {f"{n}{end}": np.nan for n in names for end in ("", "_lower", "_upper")} | {"log_likelihood": np.nan}
    ends = [(1 - cover) / 2, (1 + cover) / 2]
    shape, scale = np.exp(curve.draws).T
    values = {
        "shape": (curve.made.shape, shape),
        "scale_years": (curve.made.scale, scale),
        "b10_years": (float(curve.made.quantile(0.1)), weibull.quantile(0.1, shape=shape, scale=scale)),
    }
    numbers = {"log_likelihood": curve.made.log_likelihood}
    for name, (value, drawn) in values.items():
        lower, upper = np.quantile(drawn, ends)
        numbers |= {name: value, f"{name}_lower": float(lower), f"{name}_upper": float(upper)}
    return numbers


def _curve_finder(lives: pd.DataFrame, classes: list[ClassEstimate], settings: Settings) -> Curves:
    """Return curve, basis and words for each class: its own, else its type's over all materials, else all lives'."""
    used, least = used_lives(lives), settings.estimate.minimum_events
    everything = _curve(used, "", settings)[0]
    by_type: dict[str, Curve | None] = {}
    found: Curves = {}
    for made in classes:
        key = made.fitting_type, made.material
        if made.curve is not None and made.event_count >= least:
            found[key] = made.curve, "own", f"estimate of {made.fitting_type}, {made.material}"
            continue
        if made.fitting_type not in by_type:
            by_type[made.fitting_type] = _type_curve(used, made.fitting_type, settings)
        lender = by_type[made.fitting_type]
        if lender is not None:
            found[key] = lender, "borrowed", f"borrowed from {made.fitting_type} of all materials"
        elif everything is not None:
            found[key] = everything, "borrowed", "borrowed from all fittings together"
        else:
            found[key] = None, "none", "no estimate: too little evidence in all lives together"
    return found


def _type_curve(used: pd.DataFrame, fitting_type: str, settings: Settings) -> Curve | None:
    """Return the curve of a type over all its materials, if it has events enough to lend."""
    same = used[used["fitting_type"] == fitting_type]
    if np.isfinite(same["upper_years"].to_numpy(dtype=float)).sum() < settings.estimate.minimum_events:
        return None
    return _curve(same, fitting_type, settings)[0]


def _draws_table(classes: list[ClassEstimate], settings: Settings) -> pd.DataFrame:
    """Return draw 0, the estimate, and the draws of every class with one, fewer where the classes are many."""
    drawn = [c for c in classes if c.curve is not None]
    count = min(settings.estimate.draws, _MOST_DRAW_ROWS // max(len(drawn), 1))
    parts = [_draw_rows(c, c.curve, count) for c in drawn if c.curve is not None]
    empty = pd.DataFrame(columns=list(CLASS_DRAWS.column_names))
    return checked(pd.concat(parts, ignore_index=True) if parts else empty, CLASS_DRAWS)


def _draw_rows(made: ClassEstimate, curve: Curve, count: int) -> pd.DataFrame:
    logs = np.vstack((np.log([curve.made.shape, curve.made.scale]), curve.draws[:count]))
    return pd.DataFrame(
        {
            "fitting_type": made.fitting_type,
            "material": made.material,
            "draw": np.arange(len(logs)),
            "log_scale": logs[:, 1],
            "log_shape": logs[:, 0],
            "boat_sd": 0.0,
        }
    )


def _detection_table(looks: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Count looks and findings of each method and scope; the rates are what this estimate takes for granted."""
    kinds = ["method", "scope", "shows", "verdict"]
    counts = looks if "count" in looks else looks[kinds].value_counts().rename("count").reset_index()
    valid = counts[counts["shows"].isin(["clear", "indication"])]
    rows = [_detection_row(group, settings) for _, group in valid.groupby(["method", "scope"], sort=True)]
    return checked(pd.DataFrame(rows, columns=list(DETECTION.column_names)), DETECTION)


def _detection_row(group: pd.DataFrame, settings: Settings) -> dict[str, object]:
    method, scope = str(group["method"].iloc[0]), str(group["scope"].iloc[0])
    findings = group[group["shows"] == "indication"]
    found = int(findings["count"].sum())
    followed_up = int(findings.loc[findings["verdict"].isin(["confirmed", "unfounded"]), "count"].sum())
    prior = settings.detection[method, scope]
    certain = {f"{name}{end}": rate for name, rate in (("found", 1.0), ("false_call", 0.0)) for end in _ENDS}
    return {
        "method": method,
        "scope": scope,
        "look_count": int(group["count"].sum()),
        **certain,
        "found_prior": prior.found,
        "false_call_prior": prior.false_call,
        "prior_weight": prior.weight,
        "indication_count": found,
        "followed_up_share": followed_up / found if found else float("nan"),
        "basis": "assumed perfect",
    }


_ENDS = ("", "_lower", "_upper")
