"""Weibull estimates: refusals by name, inputs as they come, agreement with an independent library."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest
from pytest import approx

from bobstay import weibull
from bobstay.errors import EstimateError
from bobstay.likelihood_ratio import quantile_limits

INF = np.inf


def random_rows(seed, size=400, *, late=0.4):
    """Ages of a Weibull of shape 2.5, scale 20 seen at looks, some lives joining late, by whole months."""
    rng = np.random.default_rng(seed)
    onset = 20 * rng.weibull(2.5, size)
    entry = np.where(rng.random(size) < late, np.round(rng.uniform(0, 15, size) * 12) / 12, 0.0)
    gap, looks = np.round(rng.uniform(6, 36, size)) / 12, rng.integers(0, 12, size)
    kept = onset > entry
    onset, entry, gap, looks = onset[kept], entry[kept], gap[kept], looks[kept]
    passed = np.floor((onset - entry) / gap)
    is_found = passed < looks
    lower = entry + np.where(is_found, passed, looks) * gap
    return entry, lower, np.where(is_found, lower + gap, INF)


NO_MAXIMUM = {
    "no event": ([0, 0], [1, 2], [INF, INF], "no event"),
    "left-censored at one age": ([0, 0], [0, 0], [3, 3], "left-censored"),
    "left-censored at several ages": ([0, 0, 0], [0, 0, 0], [3, 4, 5], "left-censored"),
    "left-censored before all survivals": ([0] * 4, [0, 0, 10, 12], [3, 4, INF, INF], "shape runs to 0"),
    "left-censored as old as the survivals": ([0] * 4, [0, 0, 3, 4], [3, 4, INF, INF], "shape runs to 0"),
    "left-censored after all survivals": ([0] * 4, [0, 0, 1, 2], [3, 4, INF, INF], "shape runs to infinity"),
    "exact ages all equal": ([0] * 3, [3, 3, 3], [3, 3, 3], "one age 3"),
    "one exact age": ([0], [3], [3], "one age 3"),
    "equal exact ages and earlier survivals": ([0] * 3, [3, 3, 2], [3, 3, INF], "one age 3"),
    "intervals that share an age": ([0, 0], [1, 2], [3, 4], "shape runs to infinity"),
    "intervals that touch": ([0, 0], [1, 3], [3, 4], "shape runs to infinity"),
    "events right after late entry only": ([5, 6, 0], [5, 6, 0], [7, 8, 2], "left-censored"),
    "a jump explains late entries": ([5, 6, 0], [5, 6, 1], [7, 8, INF], "shape runs to infinity"),
    "late entries, falling hazard": ([1] * 6, [1] * 5 + [50], [1.1, 1.2, 1.3, 1.2, 1.1, INF], "shape runs to 0"),
    "a survival on entry says nothing": ([2, 0], [2, 1], [INF, INF], "no event"),
}


@pytest.mark.parametrize("name", NO_MAXIMUM)
def test_no_finite_maximum_is_refused_by_name(name):
    """Theory: each likelihood rises without end, or is flat, towards the limit that is named."""
    entry, lower, upper, words = NO_MAXIMUM[name]
    with pytest.raises(EstimateError, match=f"no finite maximum.*{words}"):
        weibull.estimate(entry, lower, upper)


@pytest.mark.parametrize("slope", [1e-12, 0.1, 1e6])
def test_a_step_where_the_likelihood_has_no_bend_is_a_long_one(slope):
    """By definition no coordinate moves by more than 2, uphill; a fuzzed fleet met a bend of nought."""
    for bend in (0.0, 1e-310, -1e-250):
        step = weibull._newton_step(np.array([slope]), np.array([[bend]]))
        assert step == approx([2.0])


BAD_ROWS = {
    "entry after lower": ([0, 5], [1, 4], [2, 6], None, "row 1.*entry is after lower"),
    "missing": (None, [1, np.nan], [2, 3], None, "row 1.*missing"),
    "missing upper": (None, [1, 2], [3, None], None, "row 1.*missing"),
    "negative": (None, [-1], [2], None, "row 0.*negative"),
    "upper before lower": (None, [1, 3], [2, 2], None, "row 1.*upper is before lower"),
    "infinite lower": (None, [INF], [INF], None, "row 0.*not finite"),
    "event at age 0": (None, [0, 1], [0, 2], None, "row 0.*age 0"),
    "exact age at entry": ([3], [3], [3], None, "row 0.*entry"),
    "count of 0": (None, [1, 3], [2, 4], [1, 0], "row 1.*count"),
    "negative count": (None, [1, 3], [2, 4], [-1, 1], "row 0.*count"),
    "count missing": (None, [1, 3], [2, 4], [1, np.nan], "row 1.*count"),
    "text": (None, ["a"], ["b"], None, "not a number"),
    "dates": (None, pd.to_datetime(["2020-01-01"]), [3.0], None, "not a number"),
    "no rows": (None, [], [], None, "no rows"),
    "two dimensions": (None, [[1, 2]], [[3, 4]], None, "shape"),
    "lengths differ": (None, [1, 2], [3], None, "shape"),
}


@pytest.mark.parametrize("name", BAD_ROWS)
def test_bad_rows_are_named(name):
    entry, lower, upper, count, words = BAD_ROWS[name]
    with pytest.raises(EstimateError, match=words):
        weibull.estimate(entry, lower, upper, count)


def test_lists_arrays_series_and_nullable_columns_are_alike():
    entry, lower, upper = random_rows(1, 60)
    made = weibull.estimate(entry, lower, upper)
    frame = pd.DataFrame({"entry": entry, "lower": lower, "upper": upper}, index=np.arange(entry.size)[::-1])
    nullable = frame.astype("Float64")
    for rows in (frame, nullable):
        other = weibull.estimate(rows["entry"], rows["lower"], rows["upper"])
        assert (other.shape, other.scale) == (made.shape, made.scale)
    listed = weibull.estimate(list(entry), tuple(lower), list(upper))
    assert listed.log_likelihood == made.log_likelihood


def test_inputs_are_left_as_they_were():
    entry, lower, upper = random_rows(2, 50)
    before = [a.copy() for a in (entry, lower, upper)]
    weibull.estimate(entry, lower, upper)
    assert all(np.array_equal(a, b) for a, b in zip((entry, lower, upper), before, strict=True))


def test_a_survival_on_entry_changes_nothing():
    entry, lower, upper = random_rows(3, 80)
    made = weibull.estimate(entry, lower, upper)
    more = weibull.estimate(np.append(entry, 9), np.append(lower, 9), np.append(upper, INF))
    assert (more.shape, more.scale) == (approx(made.shape, rel=1e-9), approx(made.scale, rel=1e-9))
    assert more.life_count == made.life_count + 1


@pytest.mark.filterwarnings("ignore")  # the other library warns of its own internals
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lifelines_agrees_on_intervals_with_late_entry(seed):
    """Computed with lifelines 0.30, WeibullFitter.fit_interval_censoring with entry: 1e-3, its own tolerance."""
    from lifelines import WeibullFitter

    entry, lower, upper = random_rows(seed)
    other = WeibullFitter().fit_interval_censoring(lower, upper, entry=entry)
    made = weibull.estimate(entry, lower, upper)
    assert (made.shape, made.scale) == (approx(other.rho_, rel=1e-3), approx(other.lambda_, rel=1e-3))
    assert made.log_likelihood == approx(other.log_likelihood_, abs=1e-3)
    assert made.log_likelihood >= other.log_likelihood_ - 1e-6


def test_interval_too_far_out_for_a_difference_of_survivals():
    """Computed in logs by hand: S(4) is exp(-1), so ln(S(16) - S(18)) = -64 + ln(1 - exp(64 - 91.125)) at
    shape 3, scale 4.
    """
    far = weibull.log_likelihood(3, 4, entry=None, lower=[16], upper=[18])
    assert far == approx(-64.0, abs=1e-9)
    assert weibull.log_likelihood(3, 4, entry=[15.9], lower=[16], upper=[18]) == approx((15.9 / 4) ** 3 - 64, abs=1e-9)


def test_narrow_intervals_and_extreme_units_keep_their_digits():
    """Theory: log scale shifts with the unit; three ages a millionth apart still have a shape and a scale."""
    plain = weibull.estimate(None, [1, 2, 3], [1, 2, 3])
    for unit in (1e-200, 1e200):
        ages = np.array([1, 2, 3]) * unit
        made = weibull.estimate(None, ages, ages)
        assert (made.shape, made.scale / unit) == (approx(plain.shape, rel=1e-9), approx(plain.scale, rel=1e-9))
    close = weibull.estimate(None, [1000, 1000.001, 1000.002], [1000, 1000.001, 1000.002])
    assert close.shape > 1e6 and close.scale == approx(1000.0014, abs=1e-4)


def test_draws_have_the_covariance_of_the_estimate():
    """Theory: Laplace draws are normal; tolerance of 20,000 draws, four standard errors."""
    made = weibull.estimate(*random_rows(4))
    drawn = weibull.draws(made, 20000, seed=1)
    assert drawn.mean(axis=0) == approx(
        np.log([made.shape, made.scale]), abs=4 * np.sqrt(made.covariance.max() / 20000)
    )
    assert np.cov(drawn.T) == approx(made.covariance, rel=0.08, abs=0.04 * made.covariance.max())
    assert np.array_equal(drawn, weibull.draws(made, 20000, seed=1))


def test_likelihood_ratio_limits_hold_the_quantile_as_often_as_they_say():
    """Simulated, 60 samples of 60: nominal 90 % limits of B10 hold the true one 54 +- 2.3 times; asserted
    within 4 sd.
    """
    truth = float(weibull.quantile(0.1, shape=2.5, scale=20))
    held = 0
    for seed in range(25):
        entry, lower, upper = random_rows(100 + seed, 60)
        low, high = quantile_limits(entry, lower, upper, share=0.1, cover=0.9)
        held += low <= truth <= high
    assert 17 <= held <= 25


def test_limits_that_never_close_are_open():
    """Theory: as the shape nears 0 any age can be the median of two left- and two right-censored ages, at 4 ln .5.

    That is less than one unit below the maximum, so no age is ruled out at 99 % (3.3 units).
    """
    rows = ([0, 0, 3.5, 1], [3, 4, INF, INF])
    assert weibull.estimate(None, *rows).log_likelihood - 4 * np.log(0.5) < 1
    assert quantile_limits(None, *rows, share=0.5, cover=0.99) == (0.0, INF)


def test_half_a_million_rows_take_seconds():
    """Own measure: about 1.5 s on a quiet core; asserted with room for a busy one."""
    entry, lower, upper = random_rows(5, 500_000)
    began = time.perf_counter()
    made = weibull.estimate(entry, lower, upper)
    assert time.perf_counter() - began < 30
    assert (made.shape, made.scale) == (approx(2.5, rel=0.02), approx(20, rel=0.01))
