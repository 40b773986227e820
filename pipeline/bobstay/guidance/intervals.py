"""The time between tests by the delay-time model: what it costs, and how often a part still breaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.inspection_interval import DelayTimeCase, delay_time

if TYPE_CHECKING:
    from bobstay.guidance.rules import Case
    from bobstay.settings import Settings

_STEP = 0.5  # years: ages are set in half seasons


@dataclass(frozen=True, slots=True)
class Cheapest:
    """The half-year time between tests that costs least a year; NaN where none within half the growth time does."""

    years: float
    case: DelayTimeCase

    def failure_chance(self, first_test: float, retest: float) -> float:
        """Return the chance that a part tested so breaks before its crack is found; NaN where either is not set."""
        if not (np.isfinite(first_test) and retest > 0):
            return float("nan")
        return delay_time(retest, self.case, first_test=max(first_test, _STEP)).failure_chance


def cheapest(case: Case, first_test: float, settings: Settings) -> Cheapest:
    """Weigh every half year up to half the assumed growth time, and one step beyond.

    Where the step beyond costs less, the least cost lies further off and is no answer; nor is it one where never
    testing costs less. Onset by the estimate itself, the boat effect left out.
    """
    model = delay_case(case, settings)
    steps = np.arange(_STEP, max(_STEP, case.growth_years / 2) + 1.5 * _STEP, _STEP)
    first = max(first_test, _STEP) if np.isfinite(first_test) else None
    if not steps.size or model.found == 0:
        return Cheapest(float("nan"), model)
    costs = np.array([delay_time(float(step), model, first_test=first).cost_per_year for step in steps])
    best = int(costs.argmin())
    is_answer = best < len(steps) - 1 and costs[best] < delay_time(np.inf, model).cost_per_year
    return Cheapest(float(steps[best]) if is_answer else float("nan"), model)


def delay_case(case: Case, settings: Settings) -> DelayTimeCase:
    """Return the class as the delay-time model sees it; costs in units, the failure's with the renewal after it.

    Every indication, a false one too, is paid with a renewal, as in the choice for each fitting.
    """
    renewal = settings.costs.replace
    return DelayTimeCase(
        shape=float(np.exp(case.draws.log_shape[0])),
        scale=float(np.exp(case.draws.log_scale[0])),
        growth_median=case.growth_years,
        growth_spread=settings.guidance.growth_spread,
        found=case.found,
        false_call=case.false_call,
        test_cost=settings.costs.test,
        false_call_cost=renewal,
        replacement_cost=renewal,
        failure_cost=renewal + case.access_cost + settings.consequence.units[case.consequence],
        access_cost=case.access_share,
    )
