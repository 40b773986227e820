"""The delay-time model, against lives played out one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from bobstay.errors import EstimateError
from bobstay.inspection_interval import DelayTimeCase, best_interval, delay_time

CASE = DelayTimeCase(
    shape=2.5, scale=20, growth_median=4, growth_spread=0.5, found=0.7, false_call=0.05,
    test_cost=0.3, false_call_cost=1, replacement_cost=3, failure_cost=300,
)  # fmt: skip


def played(interval, case, first, size=200_000):
    """Play lives out: onset, growth, tests; return failure share and cost a year with their standard errors."""
    rng = np.random.default_rng(3)
    onset = case.scale * rng.weibull(case.shape, size)
    broken = onset + case.growth_median * np.exp(case.growth_spread * rng.standard_normal(size))
    before = np.where(onset >= first, np.floor((onset - first) / interval) + 1, 0)
    next_test = first + before * interval
    tries = rng.geometric(case.found, size)
    seen = next_test + (tries - 1) * interval
    fails = broken <= seen
    end = np.minimum(broken, seen)
    after = np.where(fails, np.maximum(0, np.ceil((broken - next_test) / interval)), tries)
    calls = rng.binomial(before.astype(int), case.false_call)
    cost = case.test_cost * (before + after) + case.false_call_cost * calls
    cost = cost + np.where(fails, case.failure_cost, case.replacement_cost)
    rate = cost.mean() / end.mean()
    return fails.mean(), fails.std() / size**0.5, rate, (cost - rate * end).std() / end.mean() / size**0.5


@pytest.mark.parametrize(
    ("interval", "first", "changes"),
    [
        (0.5, None, {}), (1, None, {}), (2, None, {}), (5, None, {}), (30, None, {}),
        (2, 9, {"shape": 0.7, "found": 0.3}), (1, 6, {}), (1.5, 1, {"growth_spread": 1.2}), (3, None, {"found": 1.0}),
    ],
)  # fmt: skip
def test_lives_played_out_agree(interval, first, changes):
    """Own seeded simulation of 200,000 lives: within 4.5 standard errors of it."""
    case = replace(CASE, **changes)
    made = delay_time(interval, case, first_test=first)
    share, share_error, rate, rate_error = played(interval, case, first or interval)
    assert made.failure_chance == approx(share, abs=4.5 * share_error + 1e-6)
    assert made.cost_per_year == approx(rate, abs=4.5 * rate_error)


def test_never_tested_always_breaks():
    """Arithmetic: mean life = mean onset + mean growth; cost = failure cost over it."""
    made = delay_time(np.inf, CASE)
    assert made.failure_chance == 1
    assert made.cost_per_year == approx(300 / made.mean_life_years)
    blind = delay_time(1, replace(CASE, found=0.0, test_cost=0, false_call_cost=0))
    assert blind.failure_chance == approx(1, abs=1e-9)
    assert blind.cost_per_year == approx(made.cost_per_year, rel=1e-4)


def test_longer_intervals_break_more_and_better_tests_less():
    """Theory: failure chance rises with the interval and falls with the chance of finding."""
    chances = [delay_time(i, CASE).failure_chance for i in (0.25, 0.5, 1, 2, 4, 8, 16)]
    assert (np.diff(chances) > 0).all()
    better = [delay_time(1, replace(CASE, found=f)).failure_chance for f in (0.1, 0.4, 0.7, 1.0)]
    assert (np.diff(better) < 0).all()


def test_many_short_intervals_stay_close_to_testing_without_end():
    """Theory: as the interval nears 0 every crack is found at once: life = onset, tests = life / interval."""
    made = delay_time(0.002, CASE)
    assert made.failure_chance < 1e-6
    assert made.mean_life_years == approx(20 * 0.887264, rel=1e-3)  # gamma(1.4), from tables
    assert made.tests_per_life == approx(made.mean_life_years / 0.002, rel=1e-3)


def test_the_best_interval_costs_no_more_than_its_neighbours():
    made = best_interval(CASE)
    assert made is not None
    for factor in (0.5, 0.9, 1.1, 2):
        assert made.cost_per_year <= delay_time(made.interval_years * factor, CASE).cost_per_year


@pytest.mark.parametrize("changes", [{"failure_cost": 3.0}, {"found": 0.0}, {"test_cost": 1e4}])
def test_there_is_no_best_interval_where_testing_never_pays(changes):
    """Theory: nothing to save, nothing to find, or tests dearer than failures; a search bound is no answer."""
    assert best_interval(replace(CASE, **changes)) is None


@pytest.mark.parametrize(
    "changes", [{"shape": 0}, {"growth_median": np.nan}, {"found": 1.1}, {"false_call": -0.1}, {"test_cost": np.inf}]
)
def test_numbers_out_of_range_are_refused(changes):
    with pytest.raises(EstimateError, match=f"{next(iter(changes))}.*out of range"):
        delay_time(1, replace(CASE, **changes))
    with pytest.raises(EstimateError, match="interval"):
        delay_time(0, CASE)


def test_reaching_the_part_costs_as_a_dearer_test_does():
    """Arithmetic: access is paid at each test, so 0.5 of access is 0.5 on the price of a test."""
    apart = delay_time(1.5, replace(CASE, access_cost=0.5), first_test=6)
    together = delay_time(1.5, replace(CASE, test_cost=CASE.test_cost + 0.5), first_test=6)
    assert apart == together


def test_the_best_interval_after_a_first_test_costs_no_more_than_its_neighbours():
    made = best_interval(CASE, shortest=0.2, first_test=8)
    assert made is not None
    for factor in (0.5, 0.9, 1.1, 2):
        other = delay_time(made.interval_years * factor, CASE, first_test=8)
        assert made.cost_per_year <= other.cost_per_year
