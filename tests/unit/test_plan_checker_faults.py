"""The judge of plans judged: a small plan by hand that stands at every limit, and each limit broken by the least.

Two boats in one week: A has its seacock tested and its chainplate renewed, B its seacock tested. Costs and hours of the
jobs are 10, 20, 30 and 1, 2, 3; an access costs 5 and takes half an hour, once a boat: 70 and 7 in all. Added by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pandas as pd
import pytest

from bobstay.settings import Settings
from plan_checker import check_plan

AS_OF, WEEK = date(2030, 1, 7), date(2030, 1, 21)
ROWS = [("A", "SC1", "seacock", "test", 10.0, 1.0, 100.0), ("A", "CP1", "chainplate", "replace", 20.0, 2.0, 50.0),
        ("B", "SC1", "seacock", "test", 30.0, 3.0, 25.0)]  # fmt: skip
Case = dict[str, Any]


def lawful() -> Case:
    """Return all tables of the plan, each limit just met."""
    jobs = [
        {"boat_id": boat, "fitting_id": place, "fitting_type": kind, "action": action, "cost": cost, "hours": hours,
         "loss_avoided": loss, "slot_id": "W", "starts_on": pd.Timestamp(WEEK), "access": "hauled"}
        for boat, place, kind, action, cost, hours, loss in ROWS
    ]  # fmt: skip
    asked = [{**job, "action": job["action"]} for job in jobs]
    asked.append({**jobs[0], "fitting_id": "SC2", "action": "leave"})
    summary = {"cost": 70.0, "hours": 7.0, "loss_avoided": 175.0, "bound": 200.0, "gap": 0.125, "net_avoided": 100.0,
               "net_bound": 100.0, "boats_planned": 2}  # fmt: skip
    limits = {
        "budget": 70.0,
        "hours": 7.0,
        "minimum_in_service": 0.5,
        "kept_by": "fleet",
        "kept_in_service": {"fleet": 2},
        "access_boats_max": {"hauled": 2.0},
        "lead_weeks": {"chainplate": 2.0},
        "lead_weeks_otherwise": 9.0,
    }
    slot = {
        "slot_id": "W",
        "starts_on_earliest": pd.Timestamp(WEEK),
        "boats_max": 2,
        "hours_max": 7.0,
        "access": "hauled;afloat",
    }
    free = {"boat_id": "A", "from_latest": pd.Timestamp(WEEK), "to_earliest": pd.Timestamp(WEEK + timedelta(days=6))}
    boats = [{"boat_id": name, "service": "club"} for name in "ABCD"]
    price = {"access": "hauled", "fitting_type": None, "cost": 5.0, "hours": 0.5}
    return {"jobs": jobs, "priority": asked, "summary": summary, "limits": limits, "slots": [slot],
            "availability": [free], "boats": boats, "prices": [price], "as_of": AS_OF}  # fmt: skip


def faults(case: Case) -> list[str]:
    names = ("priority", "boats", "slots", "availability", "prices")
    tables = {name: pd.DataFrame(case[name]) for name in names}
    house = replace(Settings(), plan=replace(Settings().plan, **case["limits"]))
    jobs, summary = pd.DataFrame(case["jobs"]), pd.DataFrame([case["summary"]])
    return check_plan(jobs, summary, **tables, settings=house, as_of=case["as_of"])


def put(*path: Any) -> Callable[[Case], None]:
    """Return what puts the last of `path` at the place the rest names."""

    def done(case: Case) -> None:
        place = case
        for key in path[:-2]:
            place = place[key]
        place[path[-2]] = path[-1]

    return done


def test_a_plan_that_just_meets_every_limit_is_lawful() -> None:
    assert faults(lawful()) == []


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        (put("limits", "budget", 69.99), "cost 70.0 above the budget"),
        (put("limits", "hours", 6.99), "hours 7.0 above the plan's"),
        (put("limits", "minimum_in_service", 0.51), "fleet: 2 out on 2030-01-21"),
        (put("limits", "kept_in_service", {"fleet": 3}), "fleet: 2 out on 2030-01-27"),
        (put("limits", "access_boats_max", {"hauled": 1.0}), "opened for 2"),
        (put("limits", "lead_weeks", {"chainplate": 2.1}), "chainplate: fitted before its part is there"),
        (put("limits", "lead_weeks", {}), "chainplate: fitted before its part is there"),
        (put("slots", 0, "boats_max", 1), "2 boats"),
        (put("slots", 0, "hours_max", 6.99), "7.0 hours"),
        (put("slots", 0, "access", "afloat"), "does not offer hauled"),
        (put("slots", 0, "slot_id", "V"), "no such week to come"),
        (put("slots", 0, "starts_on_earliest", pd.Timestamp(WEEK + timedelta(days=1))), "no such week to come"),
        (put("as_of", WEEK + timedelta(days=1)), "no such week to come"),
        (put("availability", 0, "from_latest", pd.Timestamp(WEEK + timedelta(days=1))), "A: not free in the week"),
        (put("availability", 0, "to_earliest", pd.Timestamp(WEEK + timedelta(days=5))), "A: not free in the week"),
        (put("jobs", 0, "action", "replace"), "('A', 'SC1'): not asked for"),
        (put("jobs", 0, "loss_avoided", 100.1), "('A', 'SC1'): another loss than the priority's"),
        (put("priority", 0, "action", "leave"), "('A', 'SC1'): not asked for"),
        (put("jobs", 0, "slot_id", "V"), "A: 2 visits"),
        (put("jobs", 0, "starts_on", pd.Timestamp(WEEK + timedelta(days=7))), "A: 2 visits"),
        (put("summary", "cost", 70.01), "cost: 70.01 told, 70.0 counted"),
        (put("summary", "hours", 7.01), "hours: 7.01 told, 7.0 counted"),
        (put("summary", "loss_avoided", 175.01), "loss_avoided: 175.01 told, 175.0 counted"),
        (put("summary", "gap", 0.126), "gap: 0.126 told, 0.125 counted"),
        (put("summary", "bound", 174.9), "avoided 175.0 above the bound 174.9"),
        (put("summary", "net_bound", 99.99), "net loss avoided above its bound"),
        (put("summary", "boats_planned", 3), "boats_planned miscounts"),
        (put("prices", 0, "cost", 5.01), "70.0 told, 70.02"),
        (put("prices", 0, "hours", 0.51), "7.02 hours"),
    ],
)
def test_the_least_breach_is_told(broken: Callable[[Case], None], told: str) -> None:
    case = deepcopy(lawful())
    broken(case)
    assert any(told in fault for fault in faults(case)), faults(case)


def test_a_job_told_twice_is_a_fault() -> None:
    case = lawful()
    case["jobs"].append(case["jobs"][0])
    assert "('A', 'SC1'): twice" in faults(case)


def test_net_loss_avoided_is_never_more_than_loss_avoided() -> None:
    case = lawful()
    case["summary"] |= {"net_avoided": 175.01, "net_bound": 200.0}
    assert faults(case) == ["net loss avoided above its bound, or above the loss avoided"]


def test_what_is_not_stated_limits_nothing() -> None:
    """No hours of the week, no days of a boat, no access of the week, no part with a lead time of its own."""
    case = lawful()
    case["slots"][0] |= {"hours_max": float("nan"), "access": None}
    case["availability"][0]["boat_id"] = "D"
    for job in case["jobs"]:
        job["access"] = "hauled"
    case["limits"] |= {"lead_weeks": {}, "lead_weeks_otherwise": 2.0, "access_boats_max": {}}
    assert faults(case) == []


def test_a_job_whose_access_is_not_stated_may_be_done_in_any_week() -> None:
    """Such an access opens nothing and costs nothing: 60 and 6 in all."""
    case = lawful()
    for job in case["jobs"]:
        job["access"] = "not_stated"
    case["summary"] |= {"cost": 60.0, "hours": 6.0}
    assert faults(case) == []


def test_an_access_without_a_price_costs_what_the_settings_say() -> None:
    """Two units at 4 money each and 1 hour, once a boat: 60 + 16 and 6 + 2."""
    case = lawful()
    case["prices"] = [{"access": None, "fitting_type": "seacock", "cost": 1.0, "hours": 1.0}]
    case["limits"] |= {"money_per_unit": 4.0, "access_hours": {"hauled": 1.0}, "budget": 76.0, "hours": 8.0}
    case["slots"][0]["hours_max"] = 8.0
    case["summary"] |= {"cost": 76.0, "hours": 8.0}
    house = Settings()
    units = house.costs.access["hauled"]
    case["limits"]["money_per_unit"] = 8.0 / units
    assert faults(case) == []
    case["limits"]["access_hours"] = {"hauled": 1.01}
    assert any("hours 8.02 above the plan's" in fault for fault in faults(case))


def test_boats_are_kept_by_the_word_that_the_settings_name() -> None:
    """By service: A and B of the club's three may not both be gone where two must stay."""
    case = lawful()
    case["boats"][3]["service"] = "school"
    case["limits"] |= {"kept_by": "service", "kept_in_service": {"club": 1}, "minimum_in_service": 0.3}
    assert faults(case) == []
    case["limits"]["kept_in_service"] = {"club": 2}
    assert any(fault.startswith("club: 2 out on") for fault in faults(case))
