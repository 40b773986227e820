"""What must hold for any data: units, censoring, widening, order; and refusals exactly where theory says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pytest import approx

from bobstay import turnbull, weibull
from bobstay.errors import EstimateError
from bobstay.observations import observe
from bobstay.weibull_likelihood import design, slopes, value

QUICK = settings(max_examples=40, deadline=None, derandomize=True)
AGES = st.integers(1, 40).map(lambda x: x / 4)


@st.composite
def rows(draw, least=3, most=14):
    """Rows of every kind of censoring, with late entry; ages on a grid so that ties and touching ends are common."""
    entry, lower, upper = [], [], []
    for _ in range(draw(st.integers(least, most))):
        kind = draw(st.sampled_from(["exact", "left", "interval", "right", "late", "late_right", "at_entry"]))
        begin = draw(AGES) if kind.startswith(("late", "at")) else 0.0
        low = begin + (0.0 if kind in {"left", "at_entry"} else draw(AGES))
        width = {"exact": 0.0, "right": np.inf, "late_right": np.inf}.get(kind, draw(AGES))
        entry.append(begin)
        lower.append(low)
        upper.append(low + width)
    return np.array(entry), np.array(lower), np.array(upper)


def estimated(*ages):
    try:
        return weibull.estimate(*ages)
    except EstimateError:
        assume(False)


@QUICK
@given(rows(), st.sampled_from([1e-6, 1 / 365.25, 12.0, 1e9]))
def test_scaling_time_scales_only_the_scale(ages, factor):
    """Theory: a Weibull in months is the same Weibull in years."""
    made, other = estimated(*ages), estimated(*(a * factor for a in ages))
    assert (other.shape, other.scale) == (approx(made.shape, rel=1e-5), approx(made.scale * factor, rel=1e-5))
    assert other.covariance == approx(made.covariance, rel=1e-3, abs=1e-9)


@QUICK
@given(rows())
def test_no_nearby_weibull_is_more_likely(ages):
    """Theory: the estimate is a maximum; the likelihood is looked up on its own, off the estimate's path."""
    made = estimated(*ages)
    entry, lower, upper = ages
    for turn in np.linspace(0, 2 * np.pi, 8, endpoint=False):
        shape, scale = made.shape * np.exp(0.02 * np.cos(turn)), made.scale * np.exp(0.02 * np.sin(turn) / made.shape)
        near = weibull.log_likelihood(shape, scale, entry=entry, lower=lower, upper=upper)
        assert near <= made.log_likelihood + 1e-8


@QUICK
@given(rows(), st.floats(-1.5, 2.0), st.floats(-3.0, 1.0))
def test_derivatives_are_those_of_finite_differences(ages, log_shape, level):
    """Central differences of the log-likelihood, step 1e-4."""
    told = design(observe(*ages), 1.0)
    theta, step = np.array([log_shape, level]), 1e-4
    here = slopes(told, theta)
    assume(np.isfinite(here.value) and np.abs(here.hessian).max() < 1e6)
    size = 1 + np.abs(here.hessian).max()
    for i in range(2):
        ahead, behind = theta.copy(), theta.copy()
        ahead[i] += step
        behind[i] -= step
        assert here.gradient[i] == approx((value(told, ahead) - value(told, behind)) / (2 * step), abs=1e-6 * size)
        turned = (slopes(told, ahead).gradient - slopes(told, behind).gradient) / (2 * step)
        assert here.hessian[i] == approx(turned, abs=1e-5 * size)


@QUICK
@given(rows(), st.floats(0.3, 5.0), st.floats(0.5, 30.0), AGES)
def test_widening_an_interval_never_lowers_the_likelihood(ages, shape, scale, more):
    """Theory: a wider interval holds every age of the narrower one (exact ages are densities, left out here)."""
    entry, lower, upper = ages
    kept = lower != upper
    assume(kept.any())
    entry, lower, upper = entry[kept], lower[kept], upper[kept]
    narrow = weibull.log_likelihood(shape, scale, entry=entry, lower=lower, upper=upper)
    wide = weibull.log_likelihood(shape, scale, entry=entry, lower=np.maximum(entry, lower - more), upper=upper + more)
    assert wide >= narrow - 1e-9


@QUICK
@given(rows())
def test_counts_are_repeated_rows_and_order_is_nothing(ages):
    """Theory: the likelihood is a sum over rows."""
    made = estimated(*ages)
    entry, lower, upper = (np.concatenate((a, a[::-1])) for a in ages)
    twice, counted = weibull.estimate(entry, lower, upper), weibull.estimate(*ages, np.full(ages[0].size, 2))
    assert (twice.shape, twice.scale) == (approx(made.shape, rel=1e-6), approx(made.scale, rel=1e-6))
    assert counted.log_likelihood == approx(2 * made.log_likelihood, abs=1e-6)
    assert (counted.life_count, counted.event_count) == (twice.life_count, twice.event_count)


@QUICK
@given(st.lists(AGES, min_size=1, max_size=6), st.lists(AGES, min_size=1, max_size=6))
def test_current_status_has_a_maximum_just_where_theory_says(left, right):
    """Theory: with left- and right-censored ages alone the log-likelihood is concave in (shape, shape ln scale).

    A finite maximum exists just if the mean log age of the left-censored exceeds that of the right-censored, and the
    two do not part cleanly (no age above all right-censored and below all left-censored).
    """
    lower = np.concatenate((np.zeros(len(left)), right))
    upper = np.concatenate((left, np.full(len(right), np.inf)))
    lead = float(np.mean(np.log(left)) - np.mean(np.log(right)))
    assume(abs(lead) > 1e-3 or lead == 0)
    exists = lead > 0 and max(right) > min(left)
    if exists:
        assert weibull.estimate(None, lower, upper).shape > 0
    else:
        with pytest.raises(EstimateError, match="no finite maximum"):
            weibull.estimate(None, lower, upper)


@QUICK
@given(rows(most=25))
def test_turnbull_is_the_highest_of_all_steps(ages):
    """Theory (Gentleman and Geyer 1994): the problem is concave, so the Kuhn-Tucker conditions prove the maximum.

    Here in another form than the climb uses: no move of the distribution towards a mass in any one place helps.
    """
    entry, lower, upper = ages
    made = turnbull.estimate(entry, lower, upper)
    assert made.is_converged
    assert made.mass.sum() == approx(1.0, abs=1e-9) and (made.mass >= 0).all()
    curve = made.survival(np.linspace(0, 40, 200))
    assert ((curve >= 0) & (curve <= 1)).all() and (np.diff(curve) <= 1e-12).all()
    assume((made.survival(entry) > 1e-6).all())

    def height(mass, places):
        told = 0.0
        for e, low, up in zip(entry, lower, upper, strict=True):
            inside = (places == low) if low == up else (places > low) & (places <= up)
            told += np.log(mass[inside].sum()) - np.log(mass[places > e].sum())
        return told

    far = 1e6
    tops = np.where(np.isfinite(made.upper), made.upper, far)
    grid = np.unique(np.concatenate((tops, lower[lower > 0], lower + 0.01, upper[np.isfinite(upper)], [far])))
    base = np.array([made.mass[tops == g].sum() for g in grid])
    assert height(base, grid) == approx(made.log_likelihood, abs=1e-6)
    for i in range(grid.size):
        moved = 0.999 * base
        moved[i] += 0.001
        assert height(moved, grid) <= made.log_likelihood + 1e-6


@QUICK
@given(rows())
def test_infinite_upper_is_right_censoring(ages):
    """Theory: a right-censored row is an interval without end, so ever wider intervals come to the same likelihood."""
    entry, lower, upper = ages
    far = weibull.log_likelihood(1.5, 5.0, entry=entry, lower=lower, upper=np.where(np.isinf(upper), 1e6, upper))
    assert far == approx(weibull.log_likelihood(1.5, 5.0, entry=entry, lower=lower, upper=upper), abs=1e-9)
