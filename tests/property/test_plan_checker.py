"""No plan breaks a limit, on random tight instances, judged by code that shares nothing with the planner."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bobstay.plan import Plan, plan
from bobstay.rank import rank
from bobstay.settings import Settings
from decision_frames import AS_OF, NO_PRICES, availability_rows, fleet, slot_rows
from plan_checker import check_plan

PRICES = pd.DataFrame(
    [
        ("mast_out", None, None, 900.0, 5.0),
        ("keel_off", None, None, 1500.0, 12.0),
        (None, "chainplate", "replace", 350.0, 3.0),
        (None, "pintle", "test", 20.0, 0.25),
    ],
    columns=["access", "fitting_type", "action", "cost", "hours"],
)
LIMITS = st.fixed_dictionaries(
    {
        "budget": st.sampled_from([float("inf"), 2_000.0, 8_000.0]),
        "hours": st.sampled_from([float("inf"), 40.0, 120.0]),
        "minimum_in_service": st.sampled_from([0.0, 0.4, 0.75]),
        "kept_by": st.sampled_from(["service", "fleet"]),
        "access_boats_max": st.sampled_from([{}, {"mast_out": 1.0}]),
        "lead_weeks": st.sampled_from([{}, {"chainplate": 2.0}]),
    }
)
YARD = st.fixed_dictionaries({"boats_max": st.integers(1, 3), "hours_max": st.sampled_from([np.nan, 8.0, 25.0])})


def planned(seed: int, limits: dict[str, Any], yard: dict[str, float], prices: pd.DataFrame) -> tuple[Plan, list[str]]:
    rng = np.random.default_rng(seed)
    frames = fleet(seed, boat_count=10)
    house = replace(Settings(), plan=replace(Settings().plan, **limits))
    priority = rank(frames.lives, frames.chances, boats=frames.boats, looks=frames.looks, settings=house, as_of=AS_OF)
    limited = {
        "boats": frames.boats,
        "slots": slot_rows(rng, 3, **yard),  # type: ignore[arg-type]
        "availability": availability_rows(rng, frames.boats, 3),
        "prices": prices,
    }
    made = plan(priority, **limited, lives=frames.lives, settings=house, as_of=AS_OF, with_curve=False)
    faults = check_plan(made.haul_plan, made.plan_summary, priority=priority, **limited, settings=house, as_of=AS_OF)
    return made, faults


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), LIMITS, YARD, st.booleans())
def test_no_plan_breaks_a_limit(seed: int, limits: dict[str, Any], yard: dict[str, float], is_priced: bool) -> None:
    _, faults = planned(seed, limits, yard, PRICES if is_priced else NO_PRICES)
    assert faults == []


def test_tight_instances_are_tight() -> None:
    """The instances above must bind, or they prove nothing: boats wait in most, and some plans are not empty."""
    tight = {"budget": 8_000.0, "hours": 120.0, "minimum_in_service": 0.4}
    made = [planned(seed, tight, {"boats_max": 1, "hours_max": 25.0}, NO_PRICES)[0] for seed in range(6)]
    waiting = [int(m.plan_summary["boats_waiting"].iloc[0]) for m in made]
    assert sum(count > 0 for count in waiting) >= 4
    assert sum(len(m.haul_plan) > 0 for m in made) >= 4


@pytest.mark.parametrize("fault", ["week", "double", "dear"])
def test_the_judge_sees_broken_plans(fault: str) -> None:
    """A judge that passes everything is worth nothing: three lawful plans are broken on purpose."""
    frames = fleet(5, boat_count=10)
    rng = np.random.default_rng(5)
    priority = rank(
        frames.lives, frames.chances, boats=frames.boats, looks=frames.looks, settings=Settings(), as_of=AS_OF
    )
    limited = {
        "boats": frames.boats,
        "slots": slot_rows(rng, 3),
        "availability": availability_rows(rng, frames.boats, 3),
        "prices": NO_PRICES,
    }
    made = plan(priority, **limited, lives=frames.lives, settings=Settings(), as_of=AS_OF)
    jobs, house = made.haul_plan.copy(), Settings()
    if fault == "week":
        jobs["starts_on"] = jobs["starts_on"] + pd.Timedelta(days=100)
    elif fault == "double":
        jobs = pd.concat([jobs, jobs.iloc[[0]]])
    else:
        house = replace(house, plan=replace(house.plan, budget=1.0))
    assert check_plan(jobs, made.plan_summary, priority=priority, **limited, settings=house, as_of=AS_OF)
