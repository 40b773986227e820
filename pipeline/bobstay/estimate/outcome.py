"""The five tables of the default estimate, or the same tables saying why there are no numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import betaincinv, ndtri

from bobstay.estimate.curves import evidence_word, nonparametric_table, oldest_years
from bobstay.estimate.few import bounds_by_class
from bobstay.estimate.findings import findings_rows
from bobstay.estimate.observed import Bools, Floats, Ints, Observed, real_findings
from bobstay.estimate.record import Estimates
from bobstay.joint import Chances, ClassDraws, Estimated, Patterns, RatePrior, b10_years, expit

if TYPE_CHECKING:
    from bobstay.settings import Settings

FOLLOWED_UP_LEAST = 0.1  # below this share of findings with a disposition ages come out 8 to 14 % high: said in words
UNSETTLED = "; the search did not settle: take these numbers as rough"
FEW_FOLLOWED_UP = "few findings have a disposition: ages may be 8 to 14 % too high"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the estimate came to, before it is put in tables; `now` and `then` are of the lives `serving`."""

    seen: Observed
    estimated: Estimated
    draws: ClassDraws
    patterns: Patterns
    serving: Ints
    now: Floats
    then: Chances
    by_age: tuple[Floats, ...]  # `then`, had lives of widely unknown age been put in first and last; NaN for others
    rate_prior: RatePrior


def tabulated(outcome: Outcome, *, settings: Settings) -> Estimates:
    """Return the five tables."""
    seen = outcome.seen
    counts = class_counts(seen)
    has_numbers = _has_numbers(counts, settings)
    few = _few_followed_up(seen) and settings.estimate.detection == "imperfect"
    minimum = settings.estimate.minimum_events
    counts["evidence"] = [evidence_word(count, minimum_events=minimum) for count in counts["event_count"]]
    unsettled = "" if outcome.estimated.has_converged else UNSETTLED
    counts["model"] = [
        _words(evidence, settings, few=few, alone=len(seen.boats) == 1) + _failing(outcome) + unsettled
        for evidence in counts["evidence"]
    ]
    counts["model"] = _with_bounds(counts, seen, _found(outcome, settings))
    classes = counts.assign(**_class_numbers(outcome, has_numbers, settings.estimate.interval))
    return Estimates(
        classes=_with_oldest(classes, seen, settings),
        detection=_detection(outcome, settings),
        nonparametric=nonparametric_table(seen.lives, cover=settings.estimate.interval),
        chances=_chances(outcome, counts, has_numbers),
        class_draws=_draw_rows(outcome, has_numbers),
        findings=_findings(outcome, settings),
    )


def _findings(outcome: Outcome, settings: Settings) -> pd.DataFrame | None:
    if settings.estimate.detection == "perfect":
        return None
    return findings_rows(outcome.estimated, outcome.seen.classes, interval=settings.estimate.interval)


def _found(outcome: Outcome, settings: Settings) -> Floats:
    """Return the estimated chance found of each detection row (1 where tests are taken as perfect)."""
    size = len(outcome.seen.rows)
    return np.ones(size) if settings.estimate.detection == "perfect" else expit(outcome.estimated.point.psi[:size])


def _with_bounds(counts: pd.DataFrame, seen: Observed, found: Floats) -> list[str]:
    """Return the words of each class, the bounds that few or no indications set added to them."""
    bounds = bounds_by_class(seen, counts["event_count"].to_numpy(), found)
    thin = (counts["evidence"] != "enough").to_numpy()
    return [
        f"{words}; {bound}" if bound and few else words
        for words, bound, few in zip(counts["model"], bounds, thin, strict=True)
    ]


def _with_oldest(classes: pd.DataFrame, seen: Observed, settings: Settings) -> pd.DataFrame:
    """Add the oldest age at which enough lives of each class are at risk."""
    minimum = settings.guidance.minimum_at_risk
    per_class = [
        oldest_years(seen.lives[seen.class_index == k], minimum_at_risk=minimum) for k in range(len(seen.classes))
    ]
    return classes.assign(oldest_years=per_class)


def class_counts(seen: Observed) -> pd.DataFrame:
    """Return class, lives and boats the estimate uses, lives with an indication, and lives left out."""
    size, k, used = len(seen.classes), seen.class_index, seen.used
    on_boats = pd.DataFrame({"k": k[used], "boat": seen.boat_index[used]}).drop_duplicates()
    events = used & (real_findings(seen) > 0)
    return seen.classes.assign(
        life_count=np.bincount(k[used], minlength=size),
        boat_count=np.bincount(on_boats["k"], minlength=size),
        event_count=np.bincount(k[events], minlength=size),
        left_out_count=np.bincount(k[~used], minlength=size),
    )


def _has_numbers(counts: pd.DataFrame, settings: Settings) -> Bools:
    """Return the classes that get numbers: without pooling, only those with a finding of their own."""
    if settings.estimate.pooling == "crossed":
        return np.ones(len(counts), dtype=bool)
    return (counts["event_count"] > 0).to_numpy()


def _words(evidence: str, settings: Settings, *, few: bool, alone: bool) -> str:
    """Return in words how the numbers of a class were made."""
    pooled = settings.estimate.pooling == "crossed"
    if evidence == "none" and not pooled:
        return "a bound only: no indication in this class, and classes are kept apart"
    parts = [
        "Weibull onset, detection "
        + ("estimated" if settings.estimate.detection == "imperfect" else "taken as perfect")
    ]
    parts.append("pooled over types and materials" if pooled else "each class by itself under weak priors")
    if settings.estimate.boat_effect:
        parts.append("boat effect, its spread assumed (one boat)" if alone else "boat effect")
    if evidence == "none":
        parts.insert(0, "borrowed from other classes: no indication in this one")
    if few:
        parts.append(FEW_FOLLOWED_UP)
    return "; ".join(parts)


def _failing(outcome: Outcome) -> str:
    """Say how often cracked parts were found to fail and to be suspected, where some were."""
    signs = outcome.estimated.model.signs
    words = ""
    if signs.failing:
        words += f"; of cracked parts {_in_figures(100 * signs.failing, 1)} in a hundred fail a year, as estimated"
    if signs.suspected_sound:
        often = _in_figures(float(np.exp(signs.log_times)), 2)
        words += f"; they are looked at on a suspicion {often} times as often as sound ones"
    return words


def _in_figures(number: float, figures: int) -> str:
    """Return a number rounded to so many figures, written out: 10, never 1e+01."""
    return f"{float(f'{number:.{figures}g}'):g}"


def _class_numbers(outcome: Outcome, has_numbers: Bools, interval: float) -> dict[str, Floats]:
    """Return shape, scale and B10 with their intervals, empty where a class has none."""
    drawn = {
        "shape": np.exp(outcome.draws.log_shape),
        "scale_years": np.exp(outcome.draws.log_scale),
        "b10_years": b10_years(outcome.draws, outcome.patterns),
    }
    numbers: dict[str, Floats] = {}
    for name, values in drawn.items():
        lower, upper = np.quantile(values[1:], [(1 - interval) / 2, (1 + interval) / 2], axis=0)
        # the estimate lies within its interval even where the draws lean to one side
        numbers |= {name: values[0], f"{name}_lower": np.minimum(lower, values[0])}
        numbers[f"{name}_upper"] = np.maximum(upper, values[0])
    numbers["log_likelihood"] = outcome.estimated.class_log_likelihood
    return {name: np.where(has_numbers, values, np.nan) for name, values in numbers.items()}


def _few_followed_up(seen: Observed) -> bool:
    found = seen.look_kind[seen.look_kind > 0]
    return bool(len(found)) and bool(np.mean(found >= 2) < FOLLOWED_UP_LEAST)


def look_counts(seen: Observed) -> pd.DataFrame:
    """Return by detection row its looks, its findings and the share of them with a disposition."""
    named = seen.look_row >= 0
    row, kind, size = seen.look_row[named], seen.look_kind[named], len(seen.rows)
    found = np.bincount(row[kind > 0], minlength=size)
    followed = np.bincount(row[kind >= 2], minlength=size)
    return seen.rows.assign(
        look_count=np.bincount(row, minlength=size),
        indication_count=found,
        followed_up_share=np.divide(followed, found, out=np.full(size, np.nan), where=found > 0),
    )


def _detection(outcome: Outcome, settings: Settings) -> pd.DataFrame:
    """Return rates by detection row with intervals on the logit scale."""
    if settings.estimate.detection == "perfect":
        return look_counts(outcome.seen).assign(
            **dict.fromkeys(["found", "found_lower", "found_upper"], 1.0),
            **dict.fromkeys(["false_call", "false_call_lower", "false_call_upper"], 0.0),
            **dict.fromkeys(["found_prior", "false_call_prior", "prior_weight"], np.nan),
            basis="assumed perfect",
        )
    made, size = outcome.estimated, len(outcome.seen.rows)
    sd = np.sqrt(np.diag(made.covariance)[made.model.design.size :])
    reach = ndtri((1 + settings.estimate.interval) / 2) * sd
    rates = {side: expit(made.point.psi + sign * reach) for side, sign in (("", 0), ("_lower", -1), ("_upper", 1))}
    basis = "estimated" + (f"; {FEW_FOLLOWED_UP}" if _few_followed_up(outcome.seen) else "")
    return _with_priors(look_counts(outcome.seen), outcome.rate_prior).assign(
        **{f"found{side}": both[:size] for side, both in rates.items()},
        **{f"false_call{side}": both[size:] for side, both in rates.items()},
        basis=basis,
    )


def _with_priors(counts: pd.DataFrame, prior: RatePrior) -> pd.DataFrame:
    return counts.assign(found_prior=prior.found, false_call_prior=prior.false_call, prior_weight=prior.weight)


def _chances(outcome: Outcome, counts: pd.DataFrame, has_numbers: Bools) -> pd.DataFrame:
    """Return the chance of each life in service, with its interval."""
    k = outcome.seen.class_index[outcome.serving]
    has, then = has_numbers[k], outcome.then
    known = {
        "chance": then.chance,
        "chance_lower": then.lower,
        "chance_upper": then.upper,
        "chance_now": np.minimum(outcome.now, then.chance),
        "logit_sd": then.logit_sd,
        "chance_if_oldest": outcome.by_age[0],
        "chance_if_newest": outcome.by_age[1],
    }
    own = counts["event_count"].to_numpy()[k] > 0
    return pd.DataFrame(
        {"life_id": outcome.seen.lives["life_id"].to_numpy()[outcome.serving]}
        | {name: np.where(has, values, np.nan) for name, values in known.items()}
        | {"basis": np.where(has, np.where(own, "own", "borrowed"), "none"), "model": counts["model"].to_numpy()[k]}
    )


def _draw_rows(outcome: Outcome, has_numbers: Bools) -> pd.DataFrame:
    """Return the draws as rows: classes that have numbers, draw 0 the estimate itself."""
    seen, draws = outcome.seen, outcome.draws
    which = np.flatnonzero(has_numbers)
    count = len(draws.log_scale)
    named = seen.classes.iloc[np.repeat(which, count)].reset_index(drop=True)
    return named.assign(
        draw=np.tile(np.arange(count), len(which)),
        log_scale=draws.log_scale[:, which].T.ravel(),
        log_shape=draws.log_shape[:, which].T.ravel(),
        boat_sd=np.tile(draws.boat_sd, len(which)),
    )


def refused(seen: Observed, prior: RatePrior, why: str, *, settings: Settings) -> Estimates:
    """Return the tables without numbers: counts, the settings' rates, the non-parametric curve, and the reason."""
    blank = [f"{name}{side}" for name in ("shape", "scale_years", "b10_years") for side in ("", "_lower", "_upper")]
    classes = class_counts(seen).assign(**dict.fromkeys([*blank, "log_likelihood"], np.nan), evidence="none", model=why)
    classes["model"] = _with_bounds(classes, seen, prior.found)
    serving = seen.lives.loc[seen.lives["is_in_service"].astype(bool), ["life_id"]].reset_index(drop=True)
    numbers = [
        "chance",
        "chance_lower",
        "chance_upper",
        "chance_now",
        "logit_sd",
        "chance_if_oldest",
        "chance_if_newest",
    ]
    draws = pd.DataFrame(columns=[*seen.classes, "draw", "log_scale", "log_shape", "boat_sd"])
    return Estimates(
        classes=_with_oldest(classes, seen, settings),
        detection=_held(seen, prior, settings.estimate.interval),
        nonparametric=nonparametric_table(seen.lives, cover=settings.estimate.interval),
        chances=serving.assign(**dict.fromkeys(numbers, np.nan), basis="none", model=why),
        class_draws=draws,
    )


def _held(seen: Observed, prior: RatePrior, interval: float) -> pd.DataFrame:
    """Return the settings' rates with the interval of the Beta distribution they stand for."""
    tails = np.array([(1 - interval) / 2, (1 + interval) / 2])[:, None]
    columns: dict[str, Floats] = {}
    for name, rate in (("found", prior.found), ("false_call", prior.false_call)):
        lower, upper = betaincinv(prior.weight * rate, prior.weight * (1 - rate), tails)
        columns |= {name: rate, f"{name}_lower": lower, f"{name}_upper": upper}
    return _with_priors(look_counts(seen), prior).assign(**columns, basis="held at the setting")
