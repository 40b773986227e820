"""One simulated fleet estimated and held against its truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from bobstay import weibull
from bobstay.errors import EstimateError
from bobstay.joint import (
    ClassDraws,
    Estimated,
    Fleet,
    Patterns,
    RatePrior,
    Signs,
    b10_years,
    chance_by,
    chances,
    crossed_design,
    draw_classes,
    estimate,
    estimate_with_signs,
    expit,
    failed_code,
    log_hazard_at,
)
from bobstay.joint.rates import KINDS, logit

if TYPE_CHECKING:
    from bobstay.joint.fleet import Bools, Floats
    from bobstay.study.truth import Truth
    from bobstay.weibull import WeibullEstimate

DRAWS = 400
LEAST_EVENTS = 3  # classes with fewer are not judged
HORIZON_YEARS = 1.0
PRIOR_WEIGHT = 20.0
PRIORS = (0.7, 1.3)  # wrong on purpose, times the true chance found
MOST_FOUND = 0.99


class Simulate(Protocol):
    """A generator of fleets: seed, boats, and whether tests are perfect."""

    def __call__(self, seed: int, boats: int, *, perfect: bool = False) -> tuple[Fleet, Truth]:
        """Return a fleet and its truth."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What one fleet came to: arrays over its classes with enough events, and over its lives in service."""

    b10_error: Floats  # of ln B10
    b10_holds: Bools
    perfect_error: Floats  # the same with perfect tests
    plain_error: Floats  # of the plain interval estimate, each class by itself; NaN where it has none
    chance_holds: Bools
    old_holds: Bools  # of the chance twenty years on
    chance: float  # summed over lives in service
    true_chance: float
    found_error: Floats  # by detection row
    false_call_error: Floats
    failing: float  # estimated over true rate at which cracked parts fail
    captured: Floats  # share of true chance in the top tenth: with the settings' rates, and with found times PRIORS
    calibration: Floats  # mean chance over true chance, likewise
    has_converged: bool


def tried(simulate: Simulate, seed: int, boats: int) -> Trial:
    """Simulate a fleet, estimate it as it is, with wrong priors, with perfect tests and plainly, and compare."""
    fleet, truth = simulate(seed, boats)
    made = estimated(fleet, truth, truth.found_thought, truth.false_call_thought)
    judged = event_counts(fleet, len(truth.found)) >= LEAST_EVENTS
    error, holds = _b10(made, truth, seed)
    lives = np.flatnonzero(truth.is_in_service)
    asked, age = fleet.of_lives(lives), truth.last_years[lives] + HORIZON_YEARS
    true = true_chance(made, asked, age, truth)
    off = (np.minimum(factor * truth.found, MOST_FOUND) for factor in PRIORS)
    by_prior = [made, *(_again(made, found, truth.false_call) for found in off)]
    ranked = [chance_by(one, asked, age) for one in by_prior]
    rate = expit(made.point.psi)
    return Trial(
        b10_error=error[judged],
        b10_holds=holds[judged],
        perfect_error=_perfect_error(simulate, seed, boats),
        plain_error=_plain_error(fleet, truth)[judged],
        chance_holds=_holds(made, asked, age, truth)[judged[asked.class_index]],
        old_holds=_holds(made, asked, age + 20.0, truth)[judged[asked.class_index]],
        chance=float(ranked[0].sum()),
        true_chance=float(true.sum()),
        found_error=rate[: len(truth.found)] - truth.found,
        false_call_error=rate[len(truth.found) :] - truth.false_call,
        failing=made.model.signs.failing / truth.failing,
        captured=np.array([captured(p, true) for p in ranked]),
        calibration=np.array([p.sum() / true.sum() for p in ranked]),
        has_converged=all(one.has_converged for one in by_prior),
    )


def event_counts(fleet: Fleet, row_count: int) -> Floats:
    """Return by class the lives with an indication not called unfounded, or a failure; looks of so many rows."""
    has = np.zeros(fleet.life_count)
    has[fleet.look_life[is_real(fleet, row_count)]] = 1.0
    return np.bincount(fleet.class_index, has, minlength=fleet.class_count).astype(float)


def is_real(fleet: Fleet, row_count: int) -> Bools:
    """Return by look whether it is an indication not called unfounded, or a failure."""
    kind = fleet.look_code % len(KINDS)
    failed = fleet.look_code == failed_code(row_count)
    return np.asarray(failed | np.isin(kind, [KINDS.index("open"), KINDS.index("confirmed")]))


def estimated(fleet: Fleet, truth: Truth, found: Floats, false_call: Floats) -> Estimated:
    """Estimate with these rates as priors worth PRIOR_WEIGHT looks."""
    rates = RatePrior(found, false_call, np.full(len(found), PRIOR_WEIGHT))
    design = crossed_design(truth.type_index, truth.material_index, len(truth.effects))
    return estimate_with_signs(fleet, design, rates=rates)


def _again(made: Estimated, found: Floats, false_call: Floats) -> Estimated:
    """Estimate the same fleet with other priors of the rates, from where the search has been before."""
    model, rates = made.model, RatePrior(found, false_call, np.full(len(found), PRIOR_WEIGHT))
    return estimate(model.fleet, model.design, rates=rates, signs=model.signs, start=made.point)


def _perfect_error(simulate: Simulate, seed: int, boats: int) -> Floats:
    """Return the errors of ln B10 where the same seed's tests are perfect and known to be."""
    fleet, truth = simulate(seed, boats, perfect=True)
    rates = RatePrior(truth.found, truth.false_call, np.ones(len(truth.found)), estimated=False)
    design = crossed_design(truth.type_index, truth.material_index, len(truth.effects))
    error, _ = _b10(estimate_with_signs(fleet, design, rates=rates), truth, seed)
    return error[event_counts(fleet, len(truth.found)) >= LEAST_EVENTS]


def _patterns(made: Estimated, truth: Truth) -> Patterns:
    """Return the boats' covariates, weighed by their lives."""
    boat = made.model.fleet.boat_index
    lives = np.bincount(boat, minlength=len(truth.joined)).astype(float)
    centred = truth.covariates - truth.covariates[boat].mean(0)
    return Patterns(centred, lives / lives.sum(), np.zeros((len(truth.log_scale), centred.shape[1])))


def true_b10(truth: Truth, patterns: Patterns) -> Floats:
    """Return B10 of each class by its true parameters; boats are taken as normal whatever they were drawn from."""
    sd = np.array([truth.boat_sd])
    return np.asarray(
        b10_years(ClassDraws(truth.log_scale[None], truth.log_shape[None], truth.effects[None], sd), patterns)[0]
    )


def _b10(made: Estimated, truth: Truth, seed: int) -> tuple[Floats, Bools]:
    """Return by class the error of ln B10 and whether its 90 % interval holds the truth."""
    patterns = _patterns(made, truth)
    years, want = b10_years(draw_classes(made, DRAWS, seed), patterns), true_b10(truth, patterns)
    lower, upper = np.quantile(years[1:], [0.05, 0.95], axis=0)
    return np.log(years[0] / want), (lower <= want) & (want <= upper)


def true_chance(made: Estimated, asked: Fleet, age: Floats, truth: Truth) -> Floats:
    """Return the chance given the history with every parameter at its true value."""
    a = truth.log_scale[asked.class_index] + asked.covariates @ truth.effects + truth.boat_effect[asked.boat_index]
    model = replace(made.model.with_fleet(asked), signs=Signs(truth.failing))
    log_hazard = log_hazard_at(model, np.log(age), None)
    psi = logit(np.concatenate([truth.found, truth.false_call]))
    return np.asarray(-np.expm1(-np.exp(log_hazard(a, truth.log_shape[asked.class_index], psi))))


def _holds(made: Estimated, asked: Fleet, age: Floats, truth: Truth) -> Bools:
    """Return by life whether the 90 % interval holds the true chance; 1e-9 from certainty both are one."""
    found, true = chances(made, asked, age), true_chance(made, asked, age, truth)
    return np.asarray((found.lower - 1e-9 <= true) & (true <= found.upper + 1e-9))


def captured(chance: Floats, true: Floats) -> float:
    """Return the share of the true chance that the tenth of lives with the highest chances holds."""
    top = np.argsort(-chance, kind="stable")[: max(len(chance) // 10, 1)]
    return float(true[top].sum() / true.sum())


def _plain_error(fleet: Fleet, truth: Truth) -> Floats:
    """Return the errors of ln B10 of each class's plain Weibull: right intervals, tests taken at their word."""
    boat = np.bincount(fleet.boat_index, minlength=len(truth.joined)).astype(float)
    centred = truth.covariates - truth.covariates[fleet.boat_index].mean(0)
    want = true_b10(truth, Patterns(centred, boat / boat.sum(), np.zeros((len(truth.log_scale), centred.shape[1]))))
    made = plain_estimates(fleet, plain_intervals(fleet, len(truth.found)))
    b10 = np.array([np.nan if one is None else one.quantile(0.1) for one in made], dtype=float)
    return np.asarray(np.log(b10) - np.log(want))


def plain_estimates(fleet: Fleet, intervals: tuple[Floats, Floats, Floats]) -> list[WeibullEstimate | None]:
    """Return by class the plain Weibull of its lives' `intervals` (entry, lower, upper), None where it has none."""
    entry, lower, upper = intervals
    found: list[WeibullEstimate | None] = []
    for k in range(fleet.class_count):
        own = (fleet.class_index == k) & ~np.isnan(entry)
        try:
            found.append(weibull.estimate(entry[own], lower[own], upper[own]))
        except EstimateError:
            found.append(None)
    return found


def plain_intervals(fleet: Fleet, row_count: int) -> tuple[Floats, Floats, Floats]:
    """Return entry (NaN: not used), lower and upper of every life, as perfect detection reads its looks."""
    n, age, life, real = fleet.life_count, fleet.look_age, fleet.look_life, is_real(fleet, row_count)
    upper = np.full(n, np.inf)
    np.minimum.at(upper, life[real], age[real])
    clear = ~real & (age < upper[life])
    lower, first = np.zeros(n), np.full(n, np.inf)
    np.maximum.at(lower, life[clear], age[clear])
    np.minimum.at(first, life[clear], age[clear])
    late = fleet.copy_entry > 0.0
    entry = np.where(late, np.where(np.isfinite(first), first, np.nan), 0.0)
    return entry, lower, upper
