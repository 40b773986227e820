"""The rules that set a class's three ages, each with its interval and the rule that bound it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.guidance.ages import Draws, ends, half_seasons
from bobstay.replacement import age_replacement

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]

_SHAPES = 12  # ages by cost are worked out at so many shapes and read off between them: within 1 %


@dataclass(frozen=True, slots=True)
class Age:
    """An age or a time in years with its interval, and the rule that set it, in words."""

    years: float
    lower: float
    upper: float
    rule: str

    def rounded(self) -> Age:
        """Return the same in whole half years, downwards."""
        return Age(half_seasons(self.years), half_seasons(self.lower), half_seasons(self.upper), self.rule)


UNSET = Age(np.nan, np.nan, np.nan, "none")


@dataclass(frozen=True, slots=True)
class Case:
    """What the rules need to know of a class."""

    draws: Draws
    consequence: int
    growth_years: float
    access_cost: float  # cost units of opening for a renewal on schedule
    found: float  # chance that the fleet's usual test shows a crack
    false_call: float = 0.05  # and one that is not there
    access_share: float = 0.0  # cost units of reaching the part for a test, shared with what needs the same access


def test_from(case: Case, settings: Settings) -> Age:
    """Return the age at which the upper bound of the chance since new passes the class's test limit.

    A draw passes the limit at its own age; the upper bound passes it at the lower end of those ages.
    """
    limit = settings.guidance.test_limit[case.consequence]
    low, high = ends(case.draws.age_at(limit), settings.estimate.interval)
    return Age(low, low, high, f"limit of {limit * 100:g} %")


def retest(case: Case, first_test: float, settings: Settings, *, cheapest: float = np.nan) -> Age:
    """Return the time to the next test after a clear one at `first_test` years.

    The shortest of half the assumed growth from detectable to broken, the time in which the upper bound of the
    chance since the clear look passes the test limit, and the `cheapest` by the delay-time model where there is one.
    Never under half a year.
    """
    limit = settings.guidance.test_limit[case.consequence]
    low, high = ends(case.draws.wait_after(first_test, limit), settings.estimate.interval)
    half = case.growth_years / 2
    rule = "half the assumed growth time" if half <= low else f"limit of {limit * 100:g} %"
    years, upper = (max(0.5, min(end, half)) for end in (low, high))
    if cheapest < years:
        return Age(cheapest, cheapest, upper, "least cost at the assumed growth")
    return Age(years, years, upper, rule)


def replace_by(case: Case, settings: Settings) -> Age:
    """Return the age of renewal: the earlier of the class's replace limit (upper bound) and the cheapest age."""
    limit = settings.guidance.replace_limit[case.consequence]
    by_limit, by_cost = case.draws.age_at(limit), cheapest_ages(case, settings)
    low, high = ends(by_limit, settings.estimate.interval)
    if low <= by_cost[0]:
        return Age(low, low, high, f"limit of {limit * 100:g} %")
    low, high = ends(np.minimum(by_limit, by_cost), settings.estimate.interval)
    return Age(float(np.clip(by_cost[0], low, high)), low, high, "cost of renewal against failure")


def cheapest_ages(case: Case, settings: Settings) -> Floats:
    """Return, draw by draw (n,), the age at which renewing costs least a year; inf where it never pays.

    Age replacement (Barlow and Hunter 1960) with planned cost = renewal and its access, failure cost = the same and
    what a crack the usual test misses costs. Boat effect left out; ages scale with the scale.
    """
    planned = settings.costs.replace + case.access_cost
    missed = (1 - case.found) * settings.costs.failure * settings.consequence.units[case.consequence]
    shape = np.exp(case.draws.log_shape)
    if planned <= 0 or missed <= 0:
        return np.full_like(shape, np.inf)
    return np.exp(case.draws.log_scale) * _relative_ages(shape, planned, planned + missed)


def _relative_ages(shape: Floats, planned: float, failure: float) -> Floats:
    """Return the cheapest age at unit scale for each shape, exact for the first, read off a grid for the rest."""
    grid = np.geomspace(max(shape.min(), 1.0005), max(shape.max(), 1.001), _SHAPES)
    ages = np.array([age_replacement(float(k), 1.0, planned, failure)[0] for k in grid])
    known = np.isfinite(ages)
    if not known.any():
        return np.full_like(shape, np.inf)
    read = np.exp(np.interp(np.log(shape), np.log(grid[known]), np.log(ages[known])))
    read = np.where(shape < grid[known][0], np.inf, read)
    read[0] = age_replacement(float(shape[0]), 1.0, planned, failure)[0]
    return read
