"""Hazards and their derivatives, the climb, the refusals, and the test over boats."""

from __future__ import annotations

import numpy as np
import pytest

from bobstay import weibull
from bobstay.censored import (
    banded,
    bent,
    climbed,
    estimate_family,
    log_scores,
    loglogistic,
    lognormal,
    rows_of,
    score_test,
    slopes,
)
from bobstay.censored import weibull as weibull_hazard
from bobstay.errors import EstimateError


def some_rows(seed=1, n=60, exact=False):
    rng = np.random.default_rng(seed)
    entry = rng.uniform(0, 3, n) * (rng.random(n) < 0.5)
    lower = entry + rng.uniform(0.1, 5, n) * (rng.random(n) < 0.9)
    upper = np.where(rng.random(n) < 0.5, lower + rng.uniform(0.5, 4, n), np.inf)
    if exact:
        lower = np.where(np.isfinite(upper), upper, lower)
    return rows_of(entry, lower, upper, rng.integers(1, 4, n))


CURVES = {
    "weibull": (weibull_hazard, [2, -0.5]),
    "lognormal": (lognormal, [2, -0.3]),
    "loglogistic": (loglogistic, [2, -0.3]),
    "bent": (bent(1.5), [2, 0.5, 0.3]),
    "banded": (banded(np.array([1.0, 1.8])), [2, -0.5, 0.2, -0.3]),
}


@pytest.mark.parametrize(
    ("name", "exact"), [*((n, False) for n in CURVES), *((n, True) for n in ("weibull", "lognormal", "loglogistic"))]
)
def test_gradient_and_hessian_are_those_of_finite_differences(name, exact):
    """Central differences of the log-likelihood and of the gradient, step 1e-5."""
    hazard, start = CURVES[name]
    rows, theta = some_rows(exact=exact), np.array(start, dtype=float)
    here = slopes(rows, hazard, theta)
    for i in range(len(theta)):
        step = np.eye(len(theta))[i] * 1e-5
        above, below = slopes(rows, hazard, theta + step), slopes(rows, hazard, theta - step)
        assert here.gradient[i].sum() == pytest.approx((above.value - below.value).sum() / 2e-5, abs=1e-6)
        differences = (above.gradient - below.gradient).sum(axis=1) / 2e-5
        assert here.hessian[i] == pytest.approx(differences, abs=1e-6)


def test_the_weibull_is_that_of_the_plain_estimate():
    """Identity: two implementations of one likelihood, and of its maximum."""
    rng = np.random.default_rng(2)
    lower, width = rng.uniform(0, 9, 80), rng.uniform(1, 5, 80)
    upper = np.where(rng.random(80) < 0.4, lower + width, np.inf)
    other = weibull.estimate(None, lower, upper)
    made = estimate_family(rows_of(None, lower, upper), "weibull", scale=other.scale * 2, shape=other.shape / 2)
    assert made.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-8)
    assert np.exp(made.theta) == pytest.approx([other.scale, 1 / other.shape], rel=1e-4)


@pytest.mark.parametrize(("hazard", "theta"), [(bent(1.5), [2, 0.5, 0.0]), (banded(np.array([1.2])), [2, -0.5, 0.0])])
def test_no_bend_and_no_bands_is_the_weibull(hazard, theta):
    """Identity."""
    rows = some_rows()
    plain = slopes(rows, weibull_hazard, np.array([2, -0.5]))
    assert slopes(rows, hazard, np.array(theta)).value == pytest.approx(plain.value, abs=1e-12)


def test_a_bend_that_is_there_is_found():
    """Simulated: slope 1 before age 10 and 4 after, 4,000 exact-to-a-half-year lives; ratio within 15 %."""
    rng = np.random.default_rng(3)
    hazard = rng.exponential(size=4000)
    onset = np.where(hazard < 0.3, 10 * hazard / 0.3, 10 * (hazard / 0.3) ** 0.25)
    lower = np.floor(onset * 2) / 2
    made = climbed(rows_of(None, lower, lower + 0.5), bent(np.log(10.0)), np.array([2.5, 0.5, 0.0]))
    assert np.exp(made.theta[2]) == pytest.approx(4, rel=0.15)
    assert np.exp(made.theta[1]) == pytest.approx(1, rel=0.05)


def test_the_tails_hold_numbers():
    """Theory: for an interval far out in the tail ln L is about -H(lower); shape 3, scale 4, (16, 18] is -64."""
    rows = rows_of(None, [16.0], [18.0])
    here = slopes(rows, weibull_hazard, np.array([np.log(4.0), -np.log(3.0)]))
    assert here.value[0] == pytest.approx(-64.0, abs=1e-6)
    assert here.gradient[0, 0] == pytest.approx(3 * 64.0, rel=1e-6)


def test_no_event_is_refused():
    """Theory: the likelihood grows without end."""
    with pytest.raises(EstimateError):
        climbed(rows_of(None, [1.0, 2.0, 3.0], [np.inf] * 3), weibull_hazard, np.array([1.0, 0.0]))


def test_what_a_curve_holds_impossible_scores_very_low_and_finite():
    """A life cracked between two ages that the curve puts beyond all doubt must not make a sum infinite."""
    lower, upper = np.array([9.0, 10, 11, 10]), np.array([10.0, 11, 12, 12])
    made = estimate_family(rows_of(None, lower, upper), "lognormal", scale=10.5, shape=10)
    score = log_scores(made, rows_of(None, [0.0], [1e-9]))
    assert np.isfinite(score).all()
    assert score[0] < -100


def fleet_of_boats(rng, boats, parts, shift_fresh):
    """Lives looked at every two years, one Weibull (shape 2.5, scale 15), boat effect .3 on ln scale, fresh shifted."""
    boat = np.repeat(np.arange(boats), parts)
    fresh = boat % 3 == 0
    scale = 15 * np.exp(rng.normal(0, 0.3, boats)[boat] + shift_fresh * fresh)
    onset = scale * rng.exponential(size=len(boat)) ** 0.4
    last = rng.integers(2, 7, len(boat)) * 2.0
    lower = np.minimum(np.floor(onset / 2) * 2, last)
    return boat, fresh, lower, np.where(lower < last, lower + 2, np.inf)


def p_values(shift, fleets=120):
    rng = np.random.default_rng(5)
    told = []
    for i in range(fleets):
        boat, fresh, lower, upper = fleet_of_boats(rng, 40, 10, shift)
        start = weibull.estimate(None, lower, upper)
        theta = np.array([np.log(start.scale), -np.log(start.shape)])
        rows = rows_of(None, lower, upper)
        at, own = slopes(rows, weibull_hazard, theta), slopes(rows.chosen(fresh), weibull_hazard, theta)
        hessian = np.block([[at.hessian, own.hessian], [own.hessian, own.hessian]])
        gradient = np.concatenate([at.gradient, at.gradient * fresh])
        told.append(score_test(gradient, hessian, boat=boat, added=2, seed=i).p_value)
    return np.array(told)


def test_boats_that_differ_do_not_make_waters_differ():
    """Simulated, boat effect of sd .3 and no effect of water: a nominal 5 % is exceeded by no more than chance allows.

    120 fleets: 12 or fewer below .05 (binomial, 99 %); a chi-square that takes parts as independent fails here.
    """
    assert (p_values(0.0) < 0.05).sum() <= 12


def test_waters_that_differ_are_told_apart():
    """Simulated: lives half as long again in fresh water, 40 boats, boat effect .3: seen in most fleets (29 of 40)."""
    assert (p_values(0.4, fleets=40) < 0.05).mean() > 0.5


def test_too_few_boats_give_no_test():
    """Two boats cannot say how boats differ."""
    at = slopes(some_rows(n=20), bent(1.5), np.array([2, 0.5, 0.0]))
    assert score_test(at.gradient, at.hessian, boat=np.repeat([0, 1], 10), added=1, seed=1) is None
