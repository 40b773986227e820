"""Ages of draws that run away: whatever the draws, an interval has two numbers for ends.

Source: the closed form of a Weibull's quantile, t = scale (-ln(1 - p))^(1/shape); fuzzed fleets met the draws.
"""

from __future__ import annotations

import numpy as np
from pytest import approx

from bobstay.checks.ages import _ages_of


def test_ages_are_the_quantile_of_each_draw_and_finite_where_a_draw_runs_away():
    drawn = np.array([[np.log(2.5), np.log(20.0)], [0.0, 800.0], [-800.0, 3.0], [-800.0, 900.0], [5.0, -800.0]])
    ages = _ages_of(drawn)
    assert ages[0] == approx(20 * (-np.log(0.9)) ** 0.4, rel=1e-12)
    assert np.isfinite(ages).all()
    assert (ages[1] > 1e290, ages[2], ages[3], ages[4]) == (True, 0.0, 0.0, 0.0)
