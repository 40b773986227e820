"""Boats drawn with replacement: the drawing itself, and what the spread of the estimates says of the intervals."""

from __future__ import annotations

import numpy as np
import pytest

from bobstay.joint import Patterns, RatePrior, b10_years, crossed_design, draw_classes, estimate, resampled
from bobstay.joint.model import Model, Point
from simulated_fleet import simulate

PRIOR = RatePrior(np.array([0.4, 0.5, 0.7, 0.8]), np.array([0.02, 0.02, 0.05, 0.04]), np.full(4, 20.0))


def log_likelihood(fleet, design) -> np.ndarray:
    model = Model.of(fleet, design, PRIOR, cleared=0.5, has_boats=False)
    return model.see(Point(design.level(3.0, 0.9), np.zeros(fleet.boat_count), PRIOR.psi(), np.zeros(7))).terms.ll


def test_a_boat_drawn_twice_counts_twice() -> None:
    """Each boat's log-likelihood comes as often as the boat was drawn, in the order drawn (identity)."""
    fleet, truth = simulate(3, 6, places=12, classes=4)
    design = crossed_design(truth.type_index, truth.material_index, 2)
    by_boat = np.bincount(fleet.boat_index, log_likelihood(fleet, design))
    drawn = np.array([4, 0, 4, 2])
    again = fleet.with_boats(drawn)
    np.testing.assert_allclose(np.bincount(again.boat_index, log_likelihood(again, design)), by_boat[drawn], rtol=1e-12)


def test_estimates_of_resampled_boats_spread_as_the_intervals_say() -> None:
    """Standard deviation of ln B10 over 30 resampled fleets against that of the Laplace draws, median over the classes
    with ten findings or more: about 1 (less, as each class keeps its prior). 30 resamples know a standard deviation to
    13 %, the median over classes to some 5; the bounds leave a third."""
    fleet, truth = simulate(11, 40, places=30, classes=8)
    made = estimate(fleet, crossed_design(truth.type_index, truth.material_index, 2), rates=PRIOR)
    patterns = Patterns(truth.covariates - truth.covariates.mean(0), np.full(40, 1 / 40), np.zeros((8, 2)))
    spreads = [np.log(b10_years(d, patterns))[1:].std(0) for d in (resampled(made, 30, 1), draw_classes(made, 500, 1))]
    has = np.bincount(fleet.class_index, np.bincount(fleet.look_life, fleet.look_code % 4 > 0, fleet.life_count)) >= 10
    assert has.sum() >= 6
    assert np.median((spreads[0] / spreads[1])[has]) == pytest.approx(1.0, abs=0.33)


def test_a_warm_start_ends_where_a_cold_one_ends() -> None:
    """From the finished point of the same fleet: classes within a hundredth, rates within .002."""
    fleet, truth = simulate(12, 40, places=30, classes=8)
    design = crossed_design(truth.type_index, truth.material_index, 2)
    cold = estimate(fleet, design, rates=PRIOR)
    warm = estimate(fleet, design, rates=PRIOR, start=cold.point)
    np.testing.assert_allclose(warm.point.coefficients, cold.point.coefficients, atol=0.01)
    np.testing.assert_allclose(warm.point.psi, cold.point.psi, atol=0.02)
