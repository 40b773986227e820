"""Parts of the Weibull estimate that its results would not betray: found by putting faults in (.ci/mutants.py)."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from bobstay import weibull
from bobstay.errors import EstimateError
from bobstay.observations import observe
from bobstay.weibull_likelihood import Spans, _increments, design, level_of_total, slopes, value

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


TINY_HAZARDS = (0.7, -33.0)
THETAS = [(0.0, -1.0), (1.2, -4.0), (-2.5, 0.5), (3.0, -9.0), TINY_HAZARDS, (0.4, 2.0)]
KINDS = {
    "survivals": ([0, 0.5, 2], [3, 1.5, 2.5], [INF, INF, INF]),
    "intervals": ([0, 0.5, 2], [1, 1.5, 2], [2, 3, 6]),
    "narrow intervals": ([0, 0, 0], [1, 3, 0.5], [1.00001, 3.00002, 0.500004]),
    "from new": ([0, 0, 0], [0, 0, 0], [1, 4, 0.3]),
    "exact ages": ([0, 1, 0], [2, 2.5, 0.4], [2, 2.5, 0.4]),
    "all together": ([0, 1, 0, 0.2, 0], [2, 2.5, 0, 3, 1], [2, 4, 1, INF, 1.00003]),
}


@pytest.mark.parametrize("theta", THETAS)
@pytest.mark.parametrize("kind", KINDS)
def test_slopes_are_those_of_the_value(kind, theta):
    """Against central differences of the value (steps of 1e-5; 1e-6 of the largest): gradient, and Hessian of it."""
    entry, lower, upper = KINDS[kind]
    rows = design(observe(entry, lower, upper, count=np.arange(1.0, len(lower) + 1)), 0.3)
    at, step = np.array(theta), 1e-5
    here = slopes(rows, at)
    assert here.value == approx(value(rows, at), rel=1e-12)
    ways = step * np.eye(2)
    gradient = [(value(rows, at + way) - value(rows, at - way)) / (2 * step) for way in ways]
    hessian = [(slopes(rows, at + way).gradient - slopes(rows, at - way).gradient) / (2 * step) for way in ways]
    np.testing.assert_allclose(here.gradient, gradient, rtol=1e-6, atol=1e-6 * (1 + abs(here.value)))
    np.testing.assert_allclose(here.hessian, hessian, rtol=1e-6, atol=1e-6 * (1 + np.abs(here.hessian).max()))
    assert here.hessian[0, 1] == here.hessian[1, 0]


def test_the_value_is_the_formula_with_ages_counted_from_anywhere():
    """By hand, shape 2, scale 3 (ln H = 2 (ln t - ln 3)): ln of S(2)/S(1), S(1) - S(2), f(2)."""
    shape, scale = 2.0, 3.0
    hazard = (np.array([1.0, 2.0]) / scale) ** shape
    expected = {
        (1, 2, INF): hazard[0] - hazard[1],
        (0, 1, 2): np.log(np.exp(-hazard[0]) - np.exp(-hazard[1])),
        (0, 0, 2): np.log(1 - np.exp(-hazard[1])),
        (0, 2, 2): np.log(shape / scale * (2 / scale)) - hazard[1],
        (1, 2, 2): np.log(shape / scale * (2 / scale)) - hazard[1] + hazard[0],
    }
    for (entry, lower, upper), by_hand in expected.items():
        found = weibull.log_likelihood(shape, scale, entry=entry, lower=[lower], upper=[upper])
        assert found == approx(by_hand, abs=1e-12)
        rows = design(observe(entry, [lower], [upper]), 0.8)  # H at the reference: ln = 2 (.8 - ln 3)
        assert value(rows, np.array([np.log(2.0), 2 * (0.8 - np.log(3.0))])) == approx(by_hand, abs=1e-12)


@pytest.mark.parametrize(
    ("shape", "scale"), [(0.0, 1.0), (1.0, 0.0), (INF, 1.0), (1.0, INF), (-1.0, 1.0), (1.0, np.nan)]
)
def test_what_is_no_weibull_has_no_likelihood(shape, scale):
    with pytest.raises(EstimateError, match="are no Weibull"):
        weibull.log_likelihood(shape, scale, entry=None, lower=[1], upper=[2])


def test_survival_and_quantile_by_hand():
    """By definition: S(scale) = exp(-1), the ends are 0 and no end, and one undoes the other."""
    assert weibull.survival([0, 4, INF], shape=3, scale=4).tolist() == approx([1.0, np.exp(-1), 0.0])
    assert weibull.quantile([0, 1 - np.exp(-1), 1], shape=3, scale=4).tolist() == approx([0.0, 4.0, INF])
    made = weibull.estimate(None, [2, 4, 5], [3, INF, 8])
    assert made.survival(made.quantile(0.25)) == approx(0.75)
    assert made.quantile(0.25) == approx(made.scale * np.log(4 / 3) ** (1 / made.shape))


def test_the_centre_is_the_mean_log_end_and_the_spread_that_of_all_ages():
    """By hand: ends 2 (once) and 8 (three times), begins 1 (a survival from new says nothing of age 0)."""
    seen = observe(None, [0, 1, 1], [2, 8, INF], count=[1, 3, 5])
    reference, spread = weibull._centre(seen)
    assert reference == approx((np.log(2) + 3 * np.log(8)) / 4)
    assert spread == approx(np.std([np.log(2), np.log(8), 0.0, 0.0]))
    assert weibull._centre(observe(None, [2], [2]))[1] == 1.0


@pytest.mark.parametrize(("count", "kept"), [(499, 499), (500, 250), (999, 500), (1000, 334)])
def test_a_start_is_sought_on_some_hundreds_of_rows(count, kept):
    seen = observe(None, np.arange(1.0, count + 1), np.full(count, INF))
    thinned = weibull._thinned(seen)
    assert thinned.count.size == kept
    assert thinned.lower[:2].tolist() == [1.0, 1.0 + -(-count // kept)]


def test_a_newton_step_ends_on_the_top_of_a_bowl():
    """By algebra: for -x'Ax/2 + b'x from 0 the step is the solution of A x = b; an upward bend is turned down."""
    bowl, pull = np.array([[4.0, 1.0], [1.0, 3.0]]), np.array([1.0, 0.5])
    assert weibull._newton_step(pull, -bowl) == approx(np.linalg.solve(bowl, pull))
    saddle = np.diag([-4.0, 2.0])
    assert weibull._newton_step(np.array([1.0, 1.0]), saddle) == approx([1 / 4, 1 / 2])
    long = weibull._newton_step(np.array([40.0, 3.0]), -np.eye(2))
    assert long == approx([2.0, 3.0 / 20.0])


def test_a_step_too_long_is_halved_until_it_rises():
    """By hand: exact age 1 at shape 1, level c: the value is c - e^c, highest at c = 0."""
    rows = design(observe(None, [1], [1]), 0.0)
    start = np.array([0.0, -1.0])
    here = value(rows, start)
    level = np.array([1])
    ahead, there = weibull._stepped(rows, start, np.array([4.0]), level, here)
    assert (ahead.tolist(), there.value) == ([0.0, 0.0], approx(-1.0))
    assert weibull._stepped(rows, np.array([0.0, 0.0]), np.array([1.0]), level, -1.0 + 1e-9) is None


def test_the_best_level_at_a_shape_is_where_its_slope_is_nought():
    """By hand, shape 1: one event at 2 and a survival to 3 give a hazard of 1/5 a year."""
    rows = design(observe(None, [2, 3], [2, INF]), 0.0)
    theta = weibull._level_climbed(rows, 0.0)
    assert theta.tolist() == approx([0.0, np.log(1 / 5)])
    assert weibull._flattest(rows, 0.0, until_below=-INF) == approx(value(rows, theta))
    low = weibull._flattest(rows, 0.0, until_below=INF)
    assert low <= value(rows, theta)


def test_no_climb_from_elsewhere_ends_higher_than_the_estimate():
    """Late entries may make more than one hill: climbs from five other starts must find nothing higher."""
    found = 0
    for seed in range(40):
        draw = np.random.default_rng(seed)
        entry = draw.uniform(0, 8, 9)
        lower = entry + draw.exponential(1.0, 9)
        upper = np.where(draw.random(9) < 0.5, lower + draw.exponential(0.5, 9), INF)
        rows = design(observe(entry, lower, upper), 0.0)
        tops = [weibull.climbed(rows, np.array([b, -b])) for b in (-2.0, 0.0, 1.0, 2.0, 3.0)]
        highest = max(value(rows, top) for top in tops)
        try:
            made = weibull.estimate(entry, lower, upper)
        except EstimateError:
            continue
        found += 1
        assert made.log_likelihood >= highest - 1e-8 * (1 + abs(highest))
    assert found > 5


def test_ages_that_nothing_is_known_of_are_dropped_and_the_rest_counted():
    seen = weibull._informative(observe([2, 0, 0], [2, 1, 1], [INF, INF, INF], count=[4, 2, 3]))
    assert (seen.lower.tolist(), seen.count.tolist()) == ([1.0], [5.0])
    assert (seen.life_count, seen.event_count) == (5.0, 0.0)
    none = weibull._informative(observe([2], [2], [INF]))
    assert none.count.size == 0


def test_numbers_stand_for_whole_columns():
    seen = observe(0.5, [1, 2], [2, INF], count=3)
    assert (seen.entry.tolist(), seen.count.tolist()) == ([0.5, 0.5], [3.0, 3.0])
    assert observe(None, 1.0, 2.0).lower.tolist() == [1.0]
    made = weibull.estimate(0, [1, 2, 4], [2, 3, INF], count=2)
    assert (made.life_count, made.event_count) == (6, 4)
    assert isinstance(made.life_count, int)
    half = weibull.estimate(0, [1, 2, 4], [2, 3, INF], count=0.5)
    assert half.life_count == 1.5


def test_rows_alike_further_down_are_joined_too():
    """By hand: the second and third of four rows are alike, and so are the last two of four."""
    for upper, count in (([2, 3, 3, 4], [1, 2, 1]), ([2, 3, 4, 4], [1, 1, 2])):
        joined = observe(None, [1, 1, 1, 1], upper).aggregated()
        assert joined.upper.tolist() == sorted(set(upper))
        assert joined.count.tolist() == count


def test_the_slope_of_the_narrowest_spans_is_that_of_the_series():
    """By the series of delta / (1 - exp(-delta)): its slope in ln delta is delta (1/2 + delta / 6 - ...), to delta^3.

    Above 1e-4 the closed form loses digits, below it the series is used: both stay within 1e-8 of delta.
    """
    for delta in (1e-6, 9.9e-5, 1.01e-4, 3e-4):
        spans = Spans(np.array([0.0]), np.array([delta]), np.array([], dtype=np.intp))
        found = _increments(spans, np.array([0.0, 0.0]))
        assert found.slope[0] / delta == approx(0.5 + delta / 6, abs=2e-8)
        assert found.m[0] == approx(1 + delta / 2 + delta**2 / 12, abs=1e-12)
        assert found.log[0] == approx(np.log(delta) + delta / 2, abs=1e-8)


def test_a_span_from_the_smallest_of_ages_keeps_its_reach():
    """By hand: from 1e-310 to 1 the ratio runs over, so ln H is taken end by end; shape 1: H = 1 - 1e-310."""
    assert weibull.log_likelihood(1.0, 1.0, entry=[1e-310], lower=[1.0], upper=[INF]) == approx(-1.0, abs=1e-12)
    rows = design(observe(None, [1e-310], [1.0]), 0.0)
    assert rows.failed.reach[0] == approx(-np.log(1e-310))


def test_a_shape_or_a_scale_that_no_number_holds_is_refused():
    """Theory: ages within a rounding of each other have a shape beyond 1e5 spreads, or a scale beyond 1e304."""
    seen = observe(None, [1.0, 2.0, 4.0], [1.0, 3.0, INF])
    reference, spread = weibull._centre(seen)
    rows = design(seen, reference)
    made = weibull.estimate(None, [1.0, 2.0, 4.0], [1.0, 3.0, INF])
    top = np.array([np.log(made.shape), made.shape * (reference - np.log(made.scale))])
    here = slopes(rows, top)
    weibull._refuse_flat(rows, top, here, spread)
    with pytest.raises(EstimateError, match="beyond what a number can hold"):
        weibull._refuse_flat(rows, top, here, spread * 1e6)
    far = np.array([top[0], -1000.0 * made.shape])
    with pytest.raises(EstimateError, match="beyond what a number can hold"):
        weibull._refuse_flat(rows, far, here, spread)


def test_the_search_for_a_start_tries_shapes_below_and_above_one():
    """Theory: a falling hazard (infant failures and old survivors) has its top at a shape below 1, a wear-out above."""
    falling = weibull.estimate(None, [0.01, 0.02, 0.1, 5, 9], [0.01, 0.02, 0.1, INF, INF])
    rising = weibull.estimate(None, [8, 9, 9.5, 7, 2], [8, 9, 9.5, INF, INF])
    assert falling.shape < 0.5
    assert rising.shape > 5
