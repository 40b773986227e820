"""Parts of the Weibull estimate that its results would not betray: found by putting faults in (.ci/mutants.py)."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from bobstay import weibull
from bobstay.errors import EstimateError
from bobstay.observations import observe
from bobstay.weibull_likelihood import design, level_of_total, value

INF = np.inf


def test_rows_that_are_alike_are_one_row_with_their_count():
    """By hand: two of three sorted rows are alike, and of rows out of order as well."""
    for order in ([0, 1, 2], [2, 0, 1]):
        rows = observe(np.zeros(3), np.array([1.0, 1.0, 1.0])[order], np.array([2.0, 2.0, 3.0])[order])
        joined = rows.aggregated()
        assert joined.upper.tolist() == [2.0, 3.0]
        assert joined.count.tolist() == [2.0, 1.0]


@pytest.mark.parametrize("rows", [([0, 0], [1, 1], [2, 3]), ([0, 0], [1, 2], [2, 2]), ([0, 1], [2, 2], [3, 3])])
def test_sorted_rows_of_which_no_two_are_alike_stay_as_they_are(rows):
    seen = observe(*rows)
    assert seen.aggregated() is seen


def test_how_many_more_rows_are_at_fault_is_told():
    with pytest.raises(EstimateError, match=r"row 1: upper is before lower \(and 1 more rows\)"):
        observe(None, [1, 4, 5], [2, 3, 4])
    with pytest.raises(EstimateError) as one:
        observe(None, [1, 4], [2, 3])
    assert "more rows" not in str(one.value)


def test_a_likelihood_that_no_number_holds_is_minus_infinity():
    """Theory: H = (1e6 / 1e-6)^300 runs over, and exp(-H) is 0."""
    assert weibull.log_likelihood(300.0, 1e-6, entry=None, lower=[1e6], upper=[INF]) == -INF


def test_the_level_of_a_start_makes_the_hazard_lived_through_the_events():
    """By hand, shape 2, exact ages 3 and 5 and one life censored at 6, from age 1: H = e^c (9 + 25 + 36) = 2."""
    rows = design(observe(None, [3, 5, 6], [3, 5, INF]), 0.0)
    assert level_of_total(rows, np.log(2.0)) == approx(np.log(2 / 70), abs=1e-12)


def test_the_level_of_a_start_takes_half_of_the_hazard_in_an_interval():
    """By hand, shape 1: 2 lived to the beginning and half of the 4 years of the interval: e^c 4 = 1."""
    rows = design(observe(None, [2], [6]), 0.0)
    assert level_of_total(rows, 0.0) == approx(np.log(1 / 4), abs=1e-12)


def test_the_covariance_is_the_inverse_curvature_and_cannot_be_written():
    """Against second differences of the log-likelihood in (log shape, log scale): 1e-4."""
    lower, upper = [2, 4, 5, 7, 9, 3], [3, 4, 8, INF, 9, INF]
    made = weibull.estimate(None, lower, upper)
    step, here = 1e-4, np.log([made.shape, made.scale])

    def height(a: float, b: float) -> float:
        shape, scale = np.exp(here + step * np.array([a, b]))
        return weibull.log_likelihood(shape, scale, entry=None, lower=lower, upper=upper)

    bend = np.array([
        [height(1, 0) + height(-1, 0) - 2 * height(0, 0),
         (height(1, 1) + height(-1, -1) - height(1, -1) - height(-1, 1)) / 4],
        [0.0, height(0, 1) + height(0, -1) - 2 * height(0, 0)],
    ]) / step**2  # fmt: skip
    bend[1, 0] = bend[0, 1]
    np.testing.assert_allclose(made.covariance, np.linalg.inv(-bend), rtol=1e-4)
    with pytest.raises(ValueError, match="read-only"):
        made.covariance[0, 0] = 0.0


def test_the_value_counts_rows_as_often_as_they_stand():
    rows = design(observe(None, [2, 3], [2, INF], count=[3, 2]), 0.0)
    once = design(observe(None, [2, 2, 2, 3, 3], [2, 2, 2, INF, INF]), 0.0)
    theta = np.array([0.3, -2.0])
    assert value(rows, theta) == approx(value(once, theta), abs=1e-12)
