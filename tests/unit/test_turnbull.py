"""The non-parametric estimate: what it says of edges, late entry and hostile inputs, and how fast."""

from __future__ import annotations

import time

import numpy as np
import pytest
from pytest import approx

from bobstay import turnbull
from bobstay.errors import EstimateError

INF = np.inf


def test_without_an_event_all_mass_outlives_what_was_seen():
    made = turnbull.estimate(None, [1, 2, 3], [INF] * 3)
    assert (made.lower.tolist(), made.upper.tolist(), made.mass.tolist()) == ([3], [INF], [1])
    assert made.survival([0, 3, 100]).tolist() == [1, 1, 1]
    assert made.log_likelihood == 0


def test_survival_holds_to_the_right_end_of_an_interval_of_mass():
    made = turnbull.estimate(None, [0, 2], [2, 4])
    assert made.survival([0, 1.99, 2, 3.99, 4, 9]).tolist() == approx([1, 1, 0.5, 0.5, 0, 0])
    assert made.survival(2.0).shape == () and made.survival([[1, 2], [3, 4]]).shape == (2, 2)


def test_a_survival_at_the_age_of_an_event_was_at_risk():
    """Arithmetic: of two at risk at 3 one had the event and one was censored there: S = 1/2."""
    made = turnbull.estimate(None, [3, 3], [3, INF])
    assert made.survival(3.0) == approx(0.5)


def test_a_life_that_enters_at_the_age_of_an_event_was_not_at_risk():
    """Arithmetic: the risk set is (entry, exit], so the life entering at 3 does not count at 3."""
    made = turnbull.estimate([0, 0, 3], [3, 5, 6], [3, INF, INF])
    assert made.survival(3.0) == approx(0.5)


def test_late_entry_can_end_an_interval_of_mass():
    """Theory (Frydman 1994): mass just before a later entry costs that life nothing.

    (1, 6] may hold its event on either side of the entry at 4; before it, only the life seen to 10 from 0 pays.
    """
    made = turnbull.estimate([0, 0, 4], [1, 10, 10], [6, INF, INF])
    assert (made.lower[0], made.upper[0], made.mass[0]) == (1, 4, approx(0.5))
    assert made.log_likelihood == approx(2 * np.log(0.5))


def test_where_everyone_had_the_event_survival_stays_zero():
    """Arithmetic: the only life at risk at 2 had the event there; later entries cannot raise S again."""
    made = turnbull.estimate([0, 3, 3], [2, 5, 6], [2, 5, INF])
    assert made.survival([1, 2, 7]).tolist() == [1, 0, 0]
    assert made.log_likelihood == approx(2 * np.log(0.5))


def test_bad_rows_are_named():
    with pytest.raises(EstimateError, match=r"row 1.*entry is after lower"):
        turnbull.estimate([0, 5], [1, 4], [2, 6])


def test_counts_are_repeated_rows():
    lower, upper = np.array([0, 1, 2, 4]), np.array([2, 3, INF, 6])
    counted = turnbull.estimate(None, lower, upper, [3, 1, 2, 2])
    repeated = turnbull.estimate(None, np.repeat(lower, [3, 1, 2, 2]), np.repeat(upper, [3, 1, 2, 2]))
    assert counted.mass == approx(repeated.mass, abs=1e-9)
    assert counted.log_likelihood == approx(repeated.log_likelihood, abs=1e-9)


@pytest.mark.filterwarnings("ignore")  # the other library warns of its own internals
def test_lifelines_agrees_on_the_product_limit_with_late_entry():
    """Computed with lifelines 0.30, KaplanMeierFitter with entry, on 300 simulated lives: 1e-9."""
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(7)
    entry = np.where(rng.random(300) < 0.4, rng.integers(0, 10, 300), 0).astype(float)
    exit_ = entry + rng.integers(1, 15, 300)
    is_event = rng.random(300) < 0.5
    other = KaplanMeierFitter().fit(exit_, is_event, entry=entry)
    made = turnbull.estimate(entry, exit_, np.where(is_event, exit_, INF))
    ages = np.arange(1, 25)
    assert made.survival(ages) == approx(other.survival_function_at_times(ages).to_numpy(), abs=1e-9)


def test_limits_on_a_common_schedule_are_those_of_counting():
    """Arithmetic: with one common schedule the variance of S is S (1 - S) / n, here carried to log(-log S)."""
    lower, upper, count = [0, 5, 10], [5, 10, INF], [10, 20, 70]
    made = turnbull.estimate(None, lower, upper, count)
    survival = made.survival([5.0, 10.0])
    assert survival * np.sqrt(made.hazard_variance[:2]) == approx(np.sqrt(survival * (1 - survival) / 100), rel=1e-6)
    low, high = made.limits([5.0, 10.0], cover=0.9)
    assert (low < survival).all() and (survival < high).all()


def hostile_rows(seed, counts, size=300):
    """Long, nested, touching intervals and chains of small risk sets, counted very unevenly."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(size) < 0.5, rng.integers(0, 30, size), 0).astype(float)
    lower = entry + rng.integers(0, 3, size)
    upper = np.where(rng.random(size) < 0.2, INF, lower + rng.integers(1, 60, size) ** (1 + seed % 2))
    return entry, lower, upper, rng.choice(counts, size)


@pytest.mark.parametrize("seed", range(6))
def test_hostile_rows_converge(seed):
    assert turnbull.estimate(*hostile_rows(seed, [1, 2, 1000])).is_converged


@pytest.mark.parametrize("seed", range(3))
def test_counts_of_a_billion_beside_one_come_to_an_end(seed):
    """Rounding may stop the climb short there; it must end, say so, and still give a distribution."""
    began = time.perf_counter()
    made = turnbull.estimate(*hostile_rows(seed, [1, 2, 1000, 10**9]))
    assert time.perf_counter() - began < 30
    assert made.mass.sum() == approx(1) and (made.mass > 0).all()


def test_a_hundred_thousand_rows_take_about_a_second():
    """Own measure: 0.3 s at whole months, 1.0 s at days on a quiet core; asserted with room for a busy one."""
    rng = np.random.default_rng(1)
    onset = 20 * rng.weibull(2.5, 100_000)
    entry = np.where(rng.random(onset.size) < 0.3, rng.integers(0, 15 * 12, onset.size) / 12, 0.0)
    entry = np.where(onset > entry, entry, 0.0)
    gap = rng.integers(6, 36, onset.size) / 12
    lower = entry + np.floor((onset - entry) / gap) * gap
    upper = np.where(lower > 18, INF, lower + gap)
    began = time.perf_counter()
    made = turnbull.estimate(entry, lower, upper)
    assert time.perf_counter() - began < 20
    assert made.is_converged
    assert made.survival([5, 10, 15]) == approx(np.exp(-((np.array([5, 10, 15]) / 20) ** 2.5)), abs=0.03)
