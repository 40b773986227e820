"""Gradient and Hessian of the whole model, all blocks, against finite differences; the evidence's slope likewise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bobstay.joint import Fleet, RatePrior, crossed_design, estimate
from bobstay.joint.evidence import evidence
from bobstay.joint.model import Model, Point
from bobstay.joint.solve import Prior, reduce, step
from simulated_fleet import simulate

PRIOR = RatePrior(np.array([0.4, 0.5, 0.7, 0.8]), np.array([0.02, 0.02, 0.05, 0.04]), np.full(4, 20.0))


def with_wide_ages(fleet: Fleet) -> Fleet:
    """Write every third life as two copies, as lives of unknown age are."""
    twice = np.where(np.arange(fleet.life_count) % 3 == 0, 2, 1)
    life = np.repeat(np.arange(fleet.life_count), twice)
    second = np.concatenate([[False], life[1:] == life[:-1]])
    weight = np.where(twice[life] == 2, np.where(second, 0.3, 0.7), 1.0)
    entry = fleet.copy_entry[life]
    return replace(
        fleet,
        copy_life=life,
        copy_log_weight=np.log(weight),
        copy_shift=np.where(second, 1.7, 0.0),
        copy_entry=np.where(entry > 0, entry + np.where(second, 1.7, 0.0), 0.0),
        copy_hidden=np.zeros(len(life), dtype=bool),
    )


@pytest.fixture(params=[False, True], ids=["ages known", "ages of some known to a range"])
def model(request: pytest.FixtureRequest) -> Model:
    fleet, truth = simulate(11, 6, places=25, classes=8)
    design = crossed_design(truth.type_index, truth.material_index, 2)
    fleet = with_wide_ages(fleet) if request.param else fleet
    return Model.of(fleet, design, PRIOR, cleared=0.5, has_boats=True)


@pytest.fixture
def point(model: Model) -> Point:
    rng = np.random.default_rng(5)
    z = model.design.level(3.0, 0.8) + rng.normal(0, 0.1, model.design.size)
    psi = PRIOR.psi() + rng.normal(0, 0.2, 8)
    return Point(z, rng.normal(0, 0.2, model.fleet.boat_count), psi, np.log([0.5, 0.4, 0.3, 0.25, 0.15, 0.1, 0.2]))


def moved(point: Point, name: str, place: int, by: float) -> Point:
    values = getattr(point, name).copy()
    values[place] += by
    return replace(point, **{name: values})


@pytest.mark.parametrize("name", ["coefficients", "boats", "psi"])
def test_gradient(model: Model, point: Point, name: str) -> None:
    """Gradient of the penalised log-likelihood in every parameter against central differences."""
    seen = model.see(point)
    prior = model.prior(point.log_sd)
    own = {
        "coefficients": seen.blocks.gradient - prior.precision * (point.coefficients - prior.mean),
        "boats": seen.blocks.boat_gradient - point.boats / (prior.boat_sd or 1.0) ** 2,
        "psi": seen.score,
    }[name]
    h = 1e-5
    for place, slope in enumerate(own):
        up, down = (model.see(moved(point, name, place, side)).value for side in (h, -h))
        assert slope == pytest.approx((up - down) / (2 * h), rel=1e-5, abs=2e-5)


def test_hessian_of_coefficients_and_boats(model: Model, point: Point) -> None:
    """Every block of the Hessian against central differences of the gradient."""
    seen, h = model.see(point), 1e-5
    for place in range(model.design.size):
        up, down = (model.see(moved(point, "coefficients", place, side)).blocks for side in (h, -h))
        slope = -(up.gradient - down.gradient) / (2 * h)
        np.testing.assert_allclose(seen.blocks.inner[:, place], slope, rtol=1e-5, atol=1e-4)
        np.testing.assert_allclose(
            seen.blocks.cross[:, place], -(up.boat_gradient - down.boat_gradient) / (2 * h), rtol=1e-5, atol=1e-4
        )
    for place in range(model.fleet.boat_count):
        up, down = (model.see(moved(point, "boats", place, side)).blocks for side in (h, -h))
        slope = -(up.boat_gradient - down.boat_gradient) / (2 * h)
        want = np.zeros(model.fleet.boat_count)
        want[place] = seen.blocks.boat[place]
        np.testing.assert_allclose(slope, want, rtol=1e-5, atol=1e-4)


def test_hessian_of_the_rates(model: Model, point: Point) -> None:
    """Their columns with coefficients, boats and each other against central differences of the gradient."""
    columns, h = model.rate_columns(point, model.see(point)), 1e-4
    for place in range(len(point.psi)):
        up, down = (model.see(moved(point, "psi", place, side)) for side in (h, -h))
        for own, name in ((columns.inner, "gradient"), (columns.cross, "boat_gradient")):
            slope = -(getattr(up.blocks, name) - getattr(down.blocks, name)) / (2 * h)
            np.testing.assert_allclose(own[:, place], slope, rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(columns.corner[:, place], -(up.score - down.score) / (2 * h), rtol=1e-6, atol=1e-5)


def test_step_solves_the_whole_system(model: Model, point: Point) -> None:
    """The Schur complement gives the same step as the whole matrix solved at once (linear algebra)."""
    blocks = model.see(point).blocks
    start, prior = point.coefficients, model.prior(point.log_sd)
    lift = np.abs(blocks.inner).sum(1).max() + np.abs(blocks.cross).sum()  # far inside positive curvature
    inner = blocks.inner + lift * np.eye(len(start))
    blocks = replace(blocks, inner=inner, boat=np.abs(blocks.boat) + lift)
    taken = step(reduce(blocks, prior, start, point.boats))
    own = (prior.boat_sd or 1.0) ** -2
    whole = np.block(
        [
            [blocks.inner + np.diag(prior.precision), blocks.cross.T],
            [blocks.cross, np.diag(blocks.boat + own)],
        ]
    )
    gradient = np.concatenate(
        [blocks.gradient - prior.precision * (start - prior.mean), blocks.boat_gradient - own * point.boats]
    )
    want = np.linalg.solve(whole, gradient)
    assert not taken.was_mended
    np.testing.assert_allclose(np.concatenate([taken.coefficients, taken.boats]), want, rtol=1e-8, atol=1e-10)


def test_bad_curvature_is_mended_into_a_step_uphill() -> None:
    """An indefinite matrix is turned into one that climbs, and the step says so."""
    prior = Prior(np.full(2, 0.1), np.zeros(2), None)
    fleet, truth = simulate(2, 2, places=4, classes=3)
    model = Model.of(
        fleet, crossed_design(truth.type_index, truth.material_index, 2), PRIOR, cleared=0.5, has_boats=False
    )
    blank = Point(model.design.level(3.0, 0.8), np.zeros(2), PRIOR.psi(), np.zeros(7))
    blocks = replace(model.see(blank).blocks, gradient=np.array([1.0, -1.0]), inner=np.array([[-3.0, 0.0], [0.0, 2.0]]))
    taken = step(reduce(blocks, prior, np.zeros(2), np.zeros(2)))
    assert taken.was_mended
    assert taken.decrement > 0


def test_evidence_slope(model: Model) -> None:
    """Slope of the evidence in the ln standard deviations against central differences of its value."""
    made = estimate(model.fleet, model.design, rates=PRIOR)
    z, blocks, h = made.point, made.blocks, 1e-4
    found = evidence(model, z, blocks, z.log_sd)
    assert found is not None
    for place in range(7):
        sides = [evidence(model, z, blocks, moved(z, "log_sd", place, side).log_sd) for side in (h, -h)]
        up, down = (side.value for side in sides if side is not None)
        assert found.gradient[place] == pytest.approx((up - down) / (2 * h), rel=1e-3, abs=1e-3)
