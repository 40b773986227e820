"""The search finds the maximum where it is known, and stays finite on fleets that tell little."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from bobstay.joint import Fleet, Patterns, RatePrior, b10_years, crossed_design, draw_classes, estimate, separate_design
from bobstay.joint.design import BOAT, Design
from bobstay.joint.model import Model, Point
from simulated_fleet import simulate

PATTERNS = Path(__file__).parents[1] / "data" / "checks" / "errorprone_patterns300.csv"
PRIOR = RatePrior(np.array([0.4, 0.5, 0.7, 0.8]), np.array([0.02, 0.02, 0.05, 0.04]), np.full(4, 20.0))


def error_prone_fleet() -> Fleet:
    """The 300 patterns of results at ages 2, 4, 6, 8 (simulated: shape 1.8, scale 9, found .75, false call .04)."""
    with PATTERNS.open() as file:
        rows = [(row["results_at_2_4_6_8"], int(row["count"])) for row in csv.DictReader(file)]
    results = np.array([[int(digit) for digit in text] for text, count in rows for _ in range(count)], dtype=np.intp)
    lives = len(results)
    return Fleet(
        class_index=np.zeros(lives, dtype=np.intp),
        boat_index=np.zeros(lives, dtype=np.intp),
        covariates=np.zeros((lives, 0)),
        copy_life=np.arange(lives),
        copy_log_weight=np.zeros(lives),
        copy_shift=np.zeros(lives),
        copy_entry=np.zeros(lives),
        copy_hidden=np.zeros(lives, dtype=bool),
        look_life=np.repeat(np.arange(lives), 4),
        look_age=np.tile([2.0, 4.0, 6.0, 8.0], lives),
        look_code=results.ravel(),
        class_count=1,
        boat_count=1,
    )


def nearly_flat() -> Design:
    """One class under priors so wide that they do not matter."""
    design = separate_design(1, 0)
    return Design(design.scale_rows, design.shape_rows, design.covariates, design.mean, np.full(2, 1e-8), design.group)


def test_one_class_with_rates_known() -> None:
    """Likelihood of Gu, Ma and Balasubramanian 2015 (Ann. Appl. Stat. 9), maximum computed twice with scipy: shape
    1.704484, scale 9.457858, log-likelihood -571.59031 at found .75 and false call .04."""
    held = RatePrior(np.array([0.75]), np.array([0.04]), np.ones(1), estimated=False)
    made = estimate(error_prone_fleet(), nearly_flat(), rates=held, has_boats=False)
    assert made.has_converged
    assert np.exp(made.point.coefficients) == pytest.approx([9.457858, 1.704484], rel=2e-4)
    assert made.class_log_likelihood.sum() == pytest.approx(-571.59031, abs=1e-4)


def test_one_class_with_rates_estimated() -> None:
    """The same with both rates estimated and next to no prior: 1.739029, 9.633257, found .765794, false call .046336,
    log-likelihood -571.47485 (computed twice with scipy)."""
    loose = RatePrior(np.array([0.7]), np.array([0.05]), np.array([1e-4]))
    made = estimate(error_prone_fleet(), nearly_flat(), rates=loose, has_boats=False)
    assert made.has_converged
    assert np.exp(made.point.coefficients) == pytest.approx([9.633257, 1.739029], rel=2e-3)
    assert 1 / (1 + np.exp(-made.point.psi)) == pytest.approx([0.765794, 0.046336], rel=2e-3)
    assert made.class_log_likelihood.sum() == pytest.approx(-571.47485, abs=1e-3)


def test_perfect_rates_come_to_intervals() -> None:
    """With found 1 (but for one in a million) the answer is that of taking found as 1: 2.454884, 10.715719,
    -619.15216 at false call .04 (computed twice with scipy)."""
    held = RatePrior(np.array([1 - 1e-9]), np.array([0.04]), np.ones(1), estimated=False)
    made = estimate(error_prone_fleet(), nearly_flat(), rates=held, has_boats=False)
    # patterns with a clear look after a crack was shown cost about ln 1e-9 each unless the first was false
    assert np.exp(made.point.coefficients) == pytest.approx([10.715719, 2.454884], rel=1e-3)
    assert made.class_log_likelihood.sum() == pytest.approx(-619.15216, abs=1e-2)


def tiny_fleet(boats: int, places: int, classes: int, **more: float) -> tuple[Fleet, Design]:
    fleet, truth = simulate(21, boats, places=places, classes=classes, **more)  # type: ignore[arg-type]
    return fleet, crossed_design(truth.type_index, truth.material_index, 2)


@pytest.mark.parametrize(("boats", "places", "classes"), [(1, 45, 24), (60, 6, 1), (80, 4, 3), (1, 30, 1), (2, 3, 2)])
def test_little_fleets_stay_finite(boats: int, places: int, classes: int) -> None:
    """One boat, one class, a handful of lives: converged, finite, no warning (pytest turns warnings into errors)."""
    fleet, design = tiny_fleet(boats, places, classes)
    made = estimate(fleet, design, rates=PRIOR)
    draws = draw_classes(made, 200, 1)
    patterns = Patterns(np.zeros((1, 2)), np.ones(1), np.zeros((classes, 2)))
    years = b10_years(draws, patterns)
    assert made.has_converged
    assert np.isfinite(years).all()
    lower, upper = np.quantile(years[1:], [0.05, 0.95], axis=0)
    assert (lower < years[0]).all()
    assert (years[0] < upper).all()


def test_one_boat_keeps_the_boat_spread_at_its_prior() -> None:
    """Nothing on one boat can tell boats apart: the boat sd stays where it started, 0.2."""
    fleet, design = tiny_fleet(1, 45, 24)
    assert np.exp(estimate(fleet, design, rates=PRIOR).point.log_sd[BOAT]) == pytest.approx(0.2)


def test_one_life_is_finite() -> None:
    """A single life found clear once: the priors answer, finite."""
    fleet, design = tiny_fleet(1, 2, 1)
    alone = fleet.of_lives(np.array([0]))
    made = estimate(alone, design, rates=PRIOR)
    assert np.isfinite(made.covariance).all()


def test_b10_averages_over_boats_and_covariates() -> None:
    """One in ten at the age found, by summing the mixture over a million boats drawn at random (Monte Carlo)."""
    fleet, truth = simulate(4, 30, places=20, classes=4)
    made = estimate(fleet, crossed_design(truth.type_index, truth.material_index, 2), rates=PRIOR)
    draws = draw_classes(made, 100, 1)
    x = truth.covariates - truth.covariates.mean(0)
    years = b10_years(draws, Patterns(x, np.full(30, 1 / 30), np.zeros((4, 2))))[0]
    rng = np.random.default_rng(1)
    offset = x[rng.integers(0, 30, 1_000_000)] @ draws.effects[0] + draws.boat_sd[0] * rng.standard_normal(1_000_000)
    for k in range(4):
        hazard = (years[k] / np.exp(draws.log_scale[0, k] + offset)) ** np.exp(draws.log_shape[0, k])
        assert -np.expm1(-hazard).mean() == pytest.approx(0.1, abs=0.0015)


def test_same_fleet_same_numbers() -> None:
    """Two runs give the same bytes."""
    fleet, design = tiny_fleet(5, 20, 6)
    one, two = (estimate(fleet, design, rates=PRIOR) for _ in range(2))
    assert one.point.coefficients.tobytes() == two.point.coefficients.tobytes()
    assert draw_classes(one, 50, 7).log_scale.tobytes() == draw_classes(two, 50, 7).log_scale.tobytes()


def test_value_without_derivatives_is_the_same() -> None:
    """The likelihood-only pass agrees with the full one (identity)."""
    fleet, design = tiny_fleet(5, 20, 6)
    model = Model.of(fleet, design, PRIOR, cleared=0.5, has_boats=True)
    point = Point(design.level(3.0, 0.8), np.linspace(-0.3, 0.3, 5), PRIOR.psi(), np.zeros(7))
    assert model.value(point, model.weights(point.psi)) == pytest.approx(model.see(point).value, rel=1e-12)
