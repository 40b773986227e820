"""Fleets of known truth come back: class ages, rates, spreads, and intervals that hold the truth as often as they say.

Figures expected come from a simulation study made before this code (75 fleets of 40 boats): root mean square error of
ln B10 .168, cover of nominal .90: .89 for B10 and .895 for chances, mean chance / true 1.03.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from bobstay.joint import (
    ClassDraws,
    Estimated,
    Fleet,
    Patterns,
    RatePrior,
    b10_years,
    chance_by,
    chances,
    crossed_design,
    draw_classes,
    estimate,
    expit,
)
from bobstay.joint.chances import log_hazard_at
from bobstay.joint.design import BOAT
from bobstay.joint.draws import full_covariance
from bobstay.joint.rates import logit
from simulated_fleet import FALSE_CALL, FOUND, Truth, simulate

# wrong on purpose: the truth is .35 .55 .85 .92 and .012 .015 .08 .03
PRIOR = RatePrior(np.array([0.4, 0.5, 0.7, 0.8]), np.array([0.02, 0.02, 0.05, 0.04]), np.full(4, 20.0))
FLEETS, BOATS = 6, 40


@dataclass(frozen=True)
class Tried:
    made: Estimated
    error: NDArray[np.float64]  # of ln B10, by class
    holds: NDArray[np.bool_]  # does the interval of B10 hold the truth, by class
    chance: NDArray[np.float64]
    true_chance: NDArray[np.float64]
    chance_holds: NDArray[np.bool_]


def tried(seed: int) -> Tried:
    fleet, truth = simulate(seed, BOATS)
    made = estimate(fleet, crossed_design(truth.type_index, truth.material_index, 2), rates=PRIOR)
    x = truth.covariates - truth.covariates[fleet.boat_index].mean(0)
    patterns = Patterns(x, np.full(BOATS, 1 / BOATS), np.zeros((24, 2)))
    years = b10_years(draw_classes(made, 500, seed), patterns)
    known = ClassDraws(truth.log_scale[None], truth.log_shape[None], truth.effects[None], np.array([truth.boat_sd]))
    want = b10_years(known, patterns)[0]
    lower, upper = np.quantile(years[1:], [0.05, 0.95], axis=0)
    serving = np.flatnonzero(truth.is_in_service)
    asked, age = fleet.of_lives(serving), truth.last_years[serving] + 1.0
    found = chances(made, asked, age)
    p = true_chances(made, asked, age, truth)
    holds = (found.lower <= p) & (p <= found.upper)
    is_certain = found.chance > 1 - 1e-9
    return Tried(made, np.log(years[0] / want), (lower <= want) & (want <= upper), found.chance, p, holds | is_certain)


def true_chances(made: Estimated, asked: Fleet, age: NDArray[np.float64], truth: Truth) -> NDArray[np.float64]:
    """The chance given the history with every parameter at its true value."""
    a = truth.log_scale[asked.class_index] + asked.covariates @ truth.effects + truth.boat_effect[asked.boat_index]
    log_hazard = log_hazard_at(made.model.with_fleet(asked), np.log(age), None)
    c = log_hazard(a, truth.log_shape[asked.class_index], logit(np.concatenate([FOUND, FALSE_CALL])))
    return np.asarray(-np.expm1(-np.exp(c)))


@pytest.fixture(scope="module")
def fleets() -> list[Tried]:
    return [tried(400 + i) for i in range(FLEETS)]


def test_class_ages_come_back(fleets: list[Tried]) -> None:
    """RMSE of ln B10 over 6 x 24 classes: expected .168; the bound .21 leaves 25 % for 6 fleets (sd of a fleet's mean
    square about half of itself, so 20 % of the mean over six, 10 % of its root; taken 2.5 times)."""
    errors = np.concatenate([t.error for t in fleets])
    assert np.sqrt((errors**2).mean()) < 0.21
    assert abs(errors.mean()) < 0.06


def test_class_intervals_hold_the_truth(fleets: list[Tried]) -> None:
    """Cover of 144 intervals that say .90: binomial standard error .025, and .035 as classes of one fleet err
    together; the bound is three of those below and the top above."""
    cover = np.mean(np.concatenate([t.holds for t in fleets]))
    assert 0.79 <= cover <= 0.99


def test_chances_are_calibrated(fleets: list[Tried]) -> None:
    """Mean chance / true chance: expected 1.03, standard deviation between fleets .04, so .016 for six; three of
    those. Cover of a chance's interval: .90, standard deviation between fleets .045, so .02 for six; three of those."""
    ratio = np.mean([t.chance.sum() / t.true_chance.sum() for t in fleets])
    cover = np.mean([t.chance_holds.mean() for t in fleets])
    assert 0.97 < ratio < 1.09
    assert 0.83 < cover < 0.96


def test_rates_come_back_from_a_wrong_setting(fleets: list[Tried]) -> None:
    """Mean over six fleets of each rate lies nearer the truth than the setting it started from, the rarely used last
    method at least half the way (one look in ten, 20 looks of prior)."""
    rates = np.mean([expit(t.made.point.psi) for t in fleets], axis=0)
    truth, setting = np.concatenate([FOUND, FALSE_CALL]), np.concatenate([PRIOR.found, PRIOR.false_call])
    assert (np.abs(rates - truth) < 0.6 * np.abs(setting - truth)).all()
    assert rates[:3] == pytest.approx(FOUND[:3], abs=0.03)


def test_boat_spread_and_effects_come_back(fleets: list[Tried]) -> None:
    """True boat sd .2, sd between fleets .04 at 40 boats, so .016 for six: three of those. Effects -.25, -.2."""
    sd = np.mean([np.exp(t.made.point.log_sd[BOAT]) for t in fleets])
    effects = np.mean([t.made.point.coefficients[t.made.model.design.covariates] for t in fleets], axis=0)
    assert sd == pytest.approx(0.2, abs=0.05)
    assert effects == pytest.approx([-0.25, -0.2], abs=0.09)


def test_every_search_settled(fleets: list[Tried]) -> None:
    """All converge within the passes the recipe takes (about 20)."""
    assert all(t.made.has_converged for t in fleets)
    assert max(t.made.pass_count for t in fleets) < 45


def test_a_big_fleet_may_start_from_part_of_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """Starting from some boats ends where starting from all ends, but for the spreads taken from the part: class ln
    scale within a third of its own standard error, rates within .005."""
    fleet, truth = simulate(7, 100, places=30)
    design = crossed_design(truth.type_index, truth.material_index, 2)
    whole = estimate(fleet, design, rates=PRIOR)
    monkeypatch.setattr("bobstay.joint.polish.BIG_LOOKS", 1000)
    monkeypatch.setattr("bobstay.joint.polish.START_BOATS", 40)
    part = estimate(fleet, design, rates=PRIOR)
    assert part.has_converged
    size = design.size
    sd = np.sqrt(np.diag(design.scale_rows @ whole.covariance[:size, :size] @ design.scale_rows.T))
    apart = design.scale_rows @ (part.point.coefficients - whole.point.coefficients)
    assert (np.abs(apart) < sd / 3).all()
    np.testing.assert_allclose(expit(part.point.psi), expit(whole.point.psi), atol=0.005)


def test_chance_alone_is_the_same(fleets: list[Tried]) -> None:
    """`chance_by` is `chances` without its uncertainty (identity)."""
    made = fleets[0].made
    fleet, truth = simulate(400, BOATS)
    serving = np.flatnonzero(truth.is_in_service)
    asked, age = fleet.of_lives(serving), truth.last_years[serving] + 1.0
    np.testing.assert_array_equal(chance_by(made, asked, age), fleets[0].chance)


@pytest.mark.parametrize("years", [1.0, 20.0, 40.0])
def test_ends_of_intervals_are_those_of_drawn_parameters(fleets: list[Tried], years: float) -> None:
    """At young and very old ages, with and without findings: the ends lie where 1,500 draws of all parameters (boats
    given the others) put the 5 and 95 per cent points of the chance; computed with other means, the draws' own error
    is some .15 of a half width at such ends. Both stop at 1 - 1e-12."""
    made, (fleet, truth) = fleets[0].made, simulate(400, BOATS)
    lives = np.flatnonzero(truth.is_in_service)[::25]
    asked, age = fleet.of_lives(lives), truth.last_years[lives] + years
    found = chances(made, asked, age)
    lower, upper = np.quantile(drawn_chances(made, asked, age, 1500), [0.05, 0.95], axis=0)
    width = np.maximum(logit(upper) - logit(lower), 0.2)
    assert np.abs(found.lower - lower).max() < 0.03
    assert np.abs(found.upper - upper).max() < 0.03
    assert np.median(np.abs(logit(found.lower) - logit(lower)) / width) < 0.05
    assert np.median(np.abs(logit(found.upper) - logit(upper)) / width) < 0.05


def drawn_chances(made: Estimated, asked: Fleet, age: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Chances by draw and life, every parameter drawn from its normal approximation."""
    rng, size = np.random.default_rng(3), made.model.design.size
    log_hazard = log_hazard_at(made.model.with_fleet(asked), np.log(age), None)
    root = np.linalg.cholesky(full_covariance(made))
    out = []
    for _ in range(count):
        step = root @ rng.standard_normal(len(root))
        boats = made.point.boats - made.cross @ step / made.boat + rng.standard_normal(BOATS) / np.sqrt(made.boat)
        point = replace(made.point, coefficients=made.point.coefficients + step[:size], boats=boats)
        a, b = made.model.with_fleet(asked).ab(point)
        out.append(-np.expm1(-np.exp(log_hazard(a, b, made.point.psi + step[size:]))))
    return np.clip(out, 1e-12, 1 - 1e-12)
