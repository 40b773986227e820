"""The delay-time model: what an interval between tests costs, and how often a part still breaks.

A crack that can be found begins at a Weibull age; after a lognormal growth time the part breaks. Tests at fixed ages
find a crack that is there with one chance each, alike and independent. A part that is found, or that breaks, is
renewed and the next life begins (Christer and Waller 1984, from memory). Growth is never in the records: it is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import gamma, gammaincc, ndtr, ndtri

from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]

_CELLS = 400  # parts of an interval over which the model is summed
_MOST_INTERVALS = 4000  # tests after which the onset is spread evenly over an interval
_LEAST = 1e-10  # chance that is left out of the sums
_CANDIDATES = 40


@dataclass(frozen=True, slots=True)
class DelayTimeCase:
    """What is known or assumed of a class: onset, growth, detection at one test, and costs in one unit of money.

    `growth_median` in the unit of `scale`; `growth_spread` is the standard deviation of ln growth time.
    `replacement_cost` is paid when a test finds a crack, `failure_cost` when the part breaks (renewal included),
    `false_call_cost` for each test of a sound part that shows one, `access_cost` for reaching the part at each test.
    """

    shape: float
    scale: float
    growth_median: float
    growth_spread: float
    found: float
    false_call: float
    test_cost: float
    false_call_cost: float
    replacement_cost: float
    failure_cost: float
    access_cost: float = 0.0


@dataclass(frozen=True, slots=True)
class DelayTime:
    """What an interval brings: chance that a life ends by breaking, cost a year, and what they are made of."""

    interval_years: float
    first_test_years: float
    failure_chance: float
    cost_per_year: float
    mean_life_years: float
    tests_per_life: float
    false_calls_per_life: float


@dataclass(frozen=True, slots=True)
class _Onsets:
    """How a part whose crack began `wait` years before the next test fares; `weight` sums to 1."""

    wait: Numbers
    weight: Numbers
    tests_before: float


def delay_time(interval: float, case: DelayTimeCase, *, first_test: float | None = None) -> DelayTime:
    """Return failure chance a life and cost a year of testing at `first_test` (default `interval`) and from there on.

    interval = inf: never tested. Cost a year = expected cost of a life / expected length of a life.
    Raises EstimateError on numbers out of range.
    """
    first = interval if first_test is None else first_test
    _check(interval, first, case)
    onset_mean = case.scale * float(gamma(1 + 1 / case.shape))
    if np.isinf(first):
        growth_mean = case.growth_median * float(np.exp(case.growth_spread**2 / 2))
        mean = onset_mean + growth_mean
        return DelayTime(interval, first, 1.0, case.failure_cost / mean, mean, 0.0, 0.0)
    onsets = _onsets(interval, first, case)
    fails, lasts, tests = _after_onset(onsets.wait, interval, case)
    failure_chance = float(np.clip(onsets.weight @ fails, 0.0, 1.0))
    mean = onset_mean + float(onsets.weight @ lasts)
    tests_after = float(onsets.weight @ tests)
    false_calls = case.false_call * onsets.tests_before
    cost = (
        (case.test_cost + case.access_cost) * (onsets.tests_before + tests_after)
        + case.false_call_cost * false_calls
        + case.failure_cost * failure_chance
        + case.replacement_cost * (1 - failure_chance)
    )
    return DelayTime(
        interval, first, failure_chance, cost / mean, mean, onsets.tests_before + tests_after, false_calls
    )  # fmt: skip


def best_interval(
    case: DelayTimeCase, *, shortest: float | None = None, first_test: float | None = None
) -> DelayTime | None:
    """Return the interval of least cost a year; None where never testing, or testing without end, costs no more.

    `first_test`: the age at the first test, where it is not the interval itself.
    Sought from `shortest` (default a hundredth of the median growth time) to five times the scale; a least cost at
    either end of that range is not an answer.
    """
    if case.found == 0:
        return None
    low = case.growth_median / 100 if shortest is None else shortest
    intervals = np.exp(np.linspace(np.log(low), np.log(max(5 * case.scale, 2 * low)), _CANDIDATES))
    costs = np.array([delay_time(float(i), case, first_test=first_test).cost_per_year for i in intervals])
    best = int(costs.argmin())
    if best in {0, costs.size - 1} or costs[best] >= delay_time(np.inf, case).cost_per_year:
        return None
    narrowed = _narrowed(case, float(intervals[best - 1]), float(intervals[best + 1]), first_test)
    return delay_time(narrowed, case, first_test=first_test)


def _narrowed(case: DelayTimeCase, low: float, high: float, first_test: float | None) -> float:
    def cost(log_interval: float) -> float:
        return delay_time(float(np.exp(log_interval)), case, first_test=first_test).cost_per_year

    found = minimize_scalar(cost, bounds=(np.log(low), np.log(high)), method="bounded", options={"xatol": 1e-4})
    return float(np.exp(found.x))


def _onsets(interval: float, first: float, case: DelayTimeCase) -> _Onsets:
    """Split the ages of onset into short cells: from 0 to the first test, then each interval laid over the last."""
    count = _tests_until_rare(interval, first, case)
    tests = np.asarray(first + interval * np.arange(count), dtype=float)
    surviving = _survival(tests, case)
    edges = np.asarray(np.linspace(0.0, 1.0, _CELLS + 1), dtype=float)
    early = -np.diff(_survival(first * edges, case))[::-1]
    width = edges * interval
    later = np.zeros(_CELLS)
    for block in np.array_split(tests, max(1, count // 500)):
        later -= np.diff(_survival(np.asarray(np.add.outer(block, width), dtype=float), case), axis=1).sum(axis=0)[::-1]
    later += (1.0 - early.sum() - later.sum()) / _CELLS
    middle = (edges[1:] + edges[:-1]) / 2
    tests_before = float(surviving.sum()) + _tests_beyond(float(tests[-1]), interval, case)
    return _Onsets(np.concatenate((middle * first, middle * interval)), np.concatenate((early, later)), tests_before)


def _tests_until_rare(interval: float, first: float, case: DelayTimeCase) -> int:
    """Return the number of tests until hardly a part is still sound, or the most that are told apart."""
    oldest = case.scale * (-np.log(_LEAST)) ** (1 / case.shape)
    return int(np.clip(np.ceil((oldest - first) / interval) + 1, 1, _MOST_INTERVALS))


def _tests_beyond(last: float, interval: float, case: DelayTimeCase) -> float:
    """Return the tests of sound parts after `last`: int_last^inf S / interval, less half a test at its begin."""
    power = (last / case.scale) ** case.shape
    years = case.scale * float(gamma(1 + 1 / case.shape) * gammaincc(1 / case.shape, power))
    return max(0.0, years / interval - float(_survival(np.array([last]), case)[0]) / 2)


def _after_onset(wait: Numbers, interval: float, case: DelayTimeCase) -> tuple[Numbers, Numbers, Numbers]:
    """Return chance to break before it is found, years to either, and tests, for cracks `wait` before a test."""
    fails, lasts, tests = np.zeros_like(wait), np.zeros_like(wait), np.zeros_like(wait)
    missed, reached, lived = 1.0, np.zeros_like(wait), np.zeros_like(wait)
    age = wait
    for _ in range(_most_tests(interval, case)):
        broken, years = _grown(age, case), _years_unbroken(age, case)
        fails, lasts = fails + missed * (broken - reached), lasts + missed * (years - lived)
        tests = tests + missed * (1 - broken)
        missed, reached, lived, age = missed * (1 - case.found), broken, years, age + interval
    rest = case.growth_median * float(np.exp(case.growth_spread**2 / 2))
    return fails + missed * (1 - reached), lasts + missed * (rest - lived), tests


def _most_tests(interval: float, case: DelayTimeCase) -> int:
    """Return the tests after which a crack has all but surely been found or has broken the part."""
    slowest = case.growth_median * float(np.exp(-case.growth_spread * ndtri(_LEAST)))
    unbroken = np.ceil(slowest / interval) + 1
    unfound = np.ceil(np.log(_LEAST) / np.log1p(-case.found)) if 0 < case.found < 1 else np.inf
    return int(min(unbroken, 1 if case.found == 1 else unfound, 10 * _MOST_INTERVALS))


def _survival(age: Numbers, case: DelayTimeCase) -> Numbers:
    return np.asarray(np.exp(-((age / case.scale) ** case.shape)))


def _grown(age: Numbers, case: DelayTimeCase) -> Numbers:
    """Return the chance that a crack of `age` has broken the part."""
    return np.asarray(ndtr(np.log(age / case.growth_median) / case.growth_spread))


def _years_unbroken(age: Numbers, case: DelayTimeCase) -> Numbers:
    """Return int_0^age of the chance not to have broken: age (1 - G) + E[growth; growth <= age]."""
    z = np.log(age / case.growth_median) / case.growth_spread
    mean = case.growth_median * np.exp(case.growth_spread**2 / 2)
    return np.asarray(age * ndtr(-z) + mean * ndtr(z - case.growth_spread))


_ABOVE_ZERO = ("shape", "scale", "growth_median", "growth_spread")
_SHARES = ("found", "false_call")
_COSTS = ("test_cost", "false_call_cost", "replacement_cost", "failure_cost", "access_cost")


def _check(interval: float, first: float, case: DelayTimeCase) -> None:
    given = {name: getattr(case, name) for name in (*_ABOVE_ZERO, *_SHARES, *_COSTS)}
    wrong = [n for n in _ABOVE_ZERO if not 0 < given[n] < np.inf]
    wrong += [n for n in _SHARES if not 0 <= given[n] <= 1]
    wrong += [n for n in _COSTS if not 0 <= given[n] < np.inf]
    given |= {"interval": interval, "first_test": first}
    wrong += [n for n in ("interval", "first_test") if not given[n] > 0]
    wrong += ["interval"] if np.isinf(interval) and np.isfinite(first) else []
    if wrong:
        raise EstimateError(
            f"{wrong[0]} {given[wrong[0]]} is out of range",
            where=", ".join(wrong),
            remedy="shape, scale, growth, interval above 0 (inf: no first test either), shares 0 to 1, costs >= 0",
        )
