"""The default estimate: tests that miss and call false, classes that learn from each other, boats that differ."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.estimate.fleets import is_wide, perfect_fleet, perfect_history, sight_of, whole_fleet
from bobstay.estimate.observed import Bools, Floats, Ints, Observed, counted_today, not_used, observe, real_findings
from bobstay.estimate.outcome import Outcome, refused, tabulated
from bobstay.estimate.record import Estimates
from bobstay.joint import (
    Chances,
    Design,
    Estimated,
    Fleet,
    Patterns,
    RatePrior,
    chance_by,
    chances,
    crossed_design,
    draw_classes,
    estimate_with_signs,
    expit,
    separate_design,
    with_hidden_copies,
)
from bobstay.tables import LIVES

if TYPE_CHECKING:
    from bobstay.settings import Settings

LIVES_READ = (  # columns of lives
    *("life_id", "boat_id", "fitting_id", "part_number", "fitting_type", "material", "left_out", "age_basis"),
    *("entry_years", "lower_years", "upper_years", "age_years", "ranking_clear_years", "through_deck"),
    *("installed_on", "installed_earliest", "installed_latest", "moved_on", "ended_on", "removal_reason"),
    *("is_in_service", "open_indication_on", "voided_before"),
)
ALMOST = 1e-6  # perfect detection: found = 1 - ALMOST, false_call = ALMOST, both held
LEAST_WEIGHT = 0.5  # looks that even a setting of weight 0 is worth, else a rate seen by no look would have no value
MOST_DRAW_ROWS = 500_000
LIVES_AT_ONCE = 50_000  # that are asked for their chance: some 150 MB with 25 looks each


def seen_by(lives: pd.DataFrame, looks: pd.DataFrame, boats: pd.DataFrame, *, settings: Settings) -> Observed:
    """Return what the estimate takes from tables.LIVES, tables.LIFE_LOOKS and the boats as stored by ingest.

    Of `lives` the columns LIVES_READ are read.
    """
    lives = _in_order(lives)
    is_perfect = settings.estimate.detection == "perfect"
    unused = lives["left_out"].notna().to_numpy() if is_perfect else not_used(lives)
    return observe(lives, looks, boats, not_used=unused)


def _in_order(lives: pd.DataFrame) -> pd.DataFrame:
    """Return lives in the order the store promises: sums taken in another order end the search elsewhere, by 1e-4."""
    keys = list(LIVES.order)
    return lives if pd.MultiIndex.from_frame(lives[keys]).is_monotonic_increasing else lives.sort_values(keys)


def estimate_imperfect(seen: Observed, *, settings: Settings) -> Estimates:
    """Estimate onset ages under imperfect detection, pooled over classes, with a boat effect.

    Any of detection = "perfect", pooling = "none" and boat_effect = false may be set. Where too little was seen no
    number is made up.
    """
    why_not = refusal(seen)
    if why_not:
        return refused(seen, rate_prior(seen, settings), why_not, settings=settings)
    return tabulated(_work_out(seen, settings), settings=settings)


def refusal(seen: Observed) -> str:
    """Return why no number can be had from these looks ("" where one can): tested before the estimate, whose priors
    would make some number of anything."""
    own = seen.used[seen.look_life]
    clear, finding = (seen.look_kind == 0) & own, np.isin(seen.look_kind, [1, 2]) & own
    if not seen.used.any():
        return "no life of known age"
    if not finding.any():
        return "a bound only: no indication in any class that was not called unfounded"
    if not clear.any():
        return "no estimate: every look found something, no clear look says when it began"
    return ""


def _work_out(seen: Observed, settings: Settings) -> Outcome:
    """Estimate, draw, and ask each life in service for its chance."""
    fleet, rates, cleared = _given(seen, settings)
    told = np.bincount(fleet.look_life, minlength=fleet.life_count) > 0
    if seen.look_suspected.any():  # parts that were never suspected tell how rare a suspicion is
        told[:] = True
    own = np.flatnonzero(seen.used & told & _is_class_used(seen, settings)[seen.class_index])
    made = estimate_with_signs(
        fleet.of_lives(own),
        _design(seen, settings),
        rates=rates,
        cleared=cleared,
        has_boats=settings.estimate.boat_effect,
    )
    draws = draw_classes(made, _draw_count(len(seen.classes), settings), settings.estimate.seed)
    serving = np.flatnonzero(seen.lives["is_in_service"].to_numpy(dtype=bool))
    now, then = _today(seen, made, settings, serving)
    by = seen.lives["age_years"].to_numpy(dtype=float)[serving] + settings.horizon_years
    return Outcome(
        seen=seen,
        estimated=made,
        draws=draws,
        patterns=_patterns(seen),
        serving=serving,
        now=now,
        then=then,
        by_age=tuple(_chance_if(seen, made, settings, serving, by, at=at) for at in (0.0, 1.0)),
        rate_prior=rates,
    )


def _today(seen: Observed, made: Estimated, settings: Settings, serving: Ints) -> tuple[Floats, Chances]:
    """Return the chance of each life in service now and by the horizon, some of them at a time to bound the memory."""
    history, sight = _history(seen, made, settings)
    ages = seen.lives["age_years"].to_numpy(dtype=float)
    now, then = [], []
    for first in range(0, max(len(serving), 1), LIVES_AT_ONCE):
        own = serving[first : first + LIVES_AT_ONCE]
        asked, age = history.of_lives(own), ages[own]
        now.append(chance_by(made, asked, age, sight=sight))
        by, cover = age + settings.horizon_years, settings.estimate.interval
        then.append(chances(made, asked, by, sight=sight, interval=cover))
    return np.concatenate(now), Chances.joined(then)


def _chance_if(seen: Observed, made: Estimated, settings: Settings, serving: Ints, by: Floats, *, at: float) -> Floats:
    """Return the chance of each life of widely unknown age had it been put in first (0) or last (1), else NaN."""
    out = np.full(len(serving), np.nan)
    wide = is_wide(seen)[serving] & (settings.estimate.detection == "imperfect")
    if wide.any():
        history, sight = _history(seen, made, settings, at=at)
        out[wide] = chance_by(made, history.of_lives(serving[wide]), by[wide], sight=sight)
    return out


def _given(seen: Observed, settings: Settings) -> tuple[Fleet, RatePrior, float]:
    """Return the fleet, the rates to start from, and the share of early cracks taken out before a boat joined."""
    if settings.estimate.detection == "perfect":
        held = RatePrior(np.array([1.0 - ALMOST]), np.array([ALMOST]), np.ones(1), estimated=False)
        return perfect_fleet(seen), held, 1.0
    return whole_fleet(seen), rate_prior(seen, settings), settings.estimate.late_joiner_cleared


def _is_class_used(seen: Observed, settings: Settings) -> Bools:
    """Return the classes that enter: without pooling, a class with no finding of its own would tell only its prior."""
    if settings.estimate.pooling == "crossed":
        return np.ones(len(seen.classes), dtype=bool)
    return np.bincount(seen.class_index, real_findings(seen) * seen.used, minlength=len(seen.classes)) > 0


def rate_prior(seen: Observed, settings: Settings) -> RatePrior:
    """Return the settings' rates of the detection rows met."""
    told = [settings.detection[method, scope] for method, scope in seen.rows.itertuples(index=False)]
    return RatePrior(
        found=np.array([r.found for r in told]),
        false_call=np.array([r.false_call for r in told]),
        weight=np.array([max(r.weight, LEAST_WEIGHT) for r in told]),
    )


def _design(seen: Observed, settings: Settings) -> Design:
    covariate_count = len(seen.covariates.names)
    if settings.estimate.pooling == "none":
        return separate_design(len(seen.classes), covariate_count)
    types, materials = (
        np.unique(seen.classes[name].to_numpy(dtype=str), return_inverse=True)[1].astype(np.intp)
        for name in ("fitting_type", "material")
    )
    return crossed_design(types, materials, covariate_count)


def _draw_count(class_count: int, settings: Settings) -> int:
    return min(settings.estimate.draws, max(MOST_DRAW_ROWS // max(class_count, 1) - 1, 20))


def _history(
    seen: Observed, made: Estimated, settings: Settings, *, at: float | None = None
) -> tuple[Fleet, Floats | None]:
    """Return what counts for today's chances, and what in-place looks can see of it; `at` as in `whole_fleet`."""
    if settings.estimate.detection == "perfect":
        return perfect_history(seen), None
    fleet = whole_fleet(counted_today(seen), at=at)
    sight = sight_of(seen.rows, expit(made.point.psi[: len(seen.rows)]), settings)
    if sight.min(initial=1.0) < 1.0:
        fleet = with_hidden_copies(fleet, float(sight.min()))
    return fleet, sight


def _patterns(seen: Observed) -> Patterns:
    """Return the covariates a class is averaged over: the boats' by their lives, the fittings' by the class's own."""
    used, of_boat = np.flatnonzero(seen.used), seen.covariates.is_of_boat
    weights = np.bincount(seen.boat_index[used], minlength=len(seen.boats)).astype(float)
    of_fitting = np.where(of_boat, 0.0, seen.covariates.by_life[used])
    counts = np.maximum(np.bincount(seen.class_index[used], minlength=len(seen.classes)), 1)
    sums = np.zeros((len(seen.classes), len(of_boat)))
    np.add.at(sums, seen.class_index[used], of_fitting)
    rows, place = np.unique(np.where(of_boat, seen.covariates.by_boat, 0.0), axis=0, return_inverse=True)
    shares = np.bincount(place.ravel(), weights, minlength=len(rows)) / weights.sum()
    return Patterns(rows, shares, sums / counts[:, None])
