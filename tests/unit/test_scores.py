"""Scores checked against lifelines, against scipy's optimiser, and by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from lifelines.utils import concordance_index
from scipy.optimize import minimize

from bobstay import scores


@pytest.fixture
def season():
    rng = np.random.default_rng(5)
    chance = rng.uniform(0.02, 0.7, 400)
    return chance, rng.uniform(size=400) < chance


def test_concordance_equals_that_of_lifelines(season):
    """Source: lifelines.utils.concordance_index: a finding is an event at time 0, a clear look is censored at 1."""
    chance, seen = season
    expected = concordance_index(np.where(seen, 0.0, 1.0), -chance, seen)
    assert scores.concordance(chance, seen) == pytest.approx(expected, abs=1e-12)
    assert expected > 0.5


def test_concordance_counts_ties_half():
    assert scores.concordance(np.array([1.0, 1, 0]), np.array([True, False, False])) == 0.75
    assert np.isnan(scores.concordance(np.ones(3), np.zeros(3, bool)))


def test_calibration_slope_equals_the_optimisers_answer(season):
    """Source: scipy.optimize.minimize on the same logistic likelihood (general-purpose optimiser)."""
    chance, seen = season
    x = np.log(chance / (1 - chance))

    def minus(beta):
        z = beta[0] + beta[1] * x
        return np.sum(np.logaddexp(0, z)) - z[seen].sum()

    found = minimize(minus, [0.0, 1.0], tol=1e-12)
    assert scores.calibration_slope(chance, seen) == pytest.approx(found.x[1], abs=1e-4)


@pytest.mark.parametrize(
    ("chance", "seen"),
    [
        ([0.1, 0.2, 0.8, 0.9], [False, False, True, True]),  # all findings above all clear looks
        ([0.3, 0.3, 0.3], [True, False, True]),  # no spread
        ([0.3, 0.4], [False, False]),  # no finding
    ],
)
def test_calibration_slope_without_a_finite_value_is_not_a_number(chance, seen):
    assert np.isnan(scores.calibration_slope(np.array(chance), np.array(seen)))


def test_top_share_by_hand():
    order = np.arange(20.0)
    seen = np.zeros(20, bool)
    seen[[19, 18, 3, 2]] = True
    assert scores.top_share(order, seen) == 0.5
    assert scores.top_share(np.zeros(20), seen) == pytest.approx(0.1)  # all tied: no better than chance
    assert np.isnan(scores.top_share(order, np.zeros(20, bool)))


def test_brier_and_log_score_by_hand():
    chance, seen = np.array([0.5, 0.2]), np.array([True, False])
    assert scores.brier(chance, seen) == pytest.approx((0.25 + 0.04) / 2)
    assert scores.log_score(chance, seen) == pytest.approx((np.log(0.5) + np.log(0.8)) / 2)
