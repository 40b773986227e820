"""Replacement by age, against the cost summed by quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad

from bobstay.errors import EstimateError
from bobstay.replacement import age_replacement


def cost_rate(age, shape, scale, planned, failure):
    lived = quad(lambda t: np.exp(-((t / scale) ** shape)), 0, age, epsabs=1e-12, epsrel=1e-12)[0]
    survived = np.exp(-((age / scale) ** shape))
    return (planned * survived + failure * (1 - survived)) / lived


@pytest.mark.parametrize(
    ("shape", "scale", "planned", "failure"), [(1.3, 20, 1, 40), (2.5, 8, 3, 10), (6, 300, 2, 2.5)]
)
def test_the_cost_is_least_at_the_age_given(shape, scale, planned, failure):
    """Computed by quadrature of the long-run cost (renewal reward): no other age on a fine grid costs less."""
    age, rate = age_replacement(shape, scale, planned, failure)
    assert rate == approx(cost_rate(age, shape, scale, planned, failure), rel=1e-8)
    others = [cost_rate(age * f, shape, scale, planned, failure) for f in np.linspace(0.3, 2, 41)]
    assert rate <= min(others) + 1e-12


@pytest.mark.parametrize(("planned", "failure"), [(5, 5), (6, 5)])
def test_it_never_pays_where_failure_is_no_dearer(planned, failure):
    """Theory: there is nothing to save."""
    age, rate = age_replacement(3, 10, planned, failure)
    assert age == np.inf
    assert rate == approx(cost_rate(60, 3, 10, 0, failure), rel=1e-9)


def test_time_and_money_are_only_units():
    """Theory: age scales with the scale, cost with money over time."""
    age, rate = age_replacement(2, 1, 1, 5)
    assert age_replacement(2, 12, 100, 500) == (approx(12 * age, rel=1e-9), approx(100 * rate / 12, rel=1e-9))


@pytest.mark.parametrize("numbers", [(0, 1, 1, 5), (2, -1, 1, 5), (2, 1, 0, 5), (2, 1, 1, np.inf), (np.nan, 1, 1, 5)])
def test_numbers_out_of_range_are_refused(numbers):
    with pytest.raises(EstimateError, match="above 0"):
        age_replacement(*numbers)
