"""The haul-out plan: small cases whose best plan is found by trying them all, and the limits one by one."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date
from types import MappingProxyType
from typing import Any

import pandas as pd
import pytest

from bobstay.holdings import plan_lines
from bobstay.plan import Plan, plan
from bobstay.plan.jobs import price_list
from bobstay.plan.weeks import free_spans, weeks_of
from bobstay.settings import Settings
from decision_frames import AS_OF, NO_PRICES

STATED = replace(Settings(), costs=replace(Settings().costs, replace=3.0))  # the sums below are for these costs
FREE = replace(STATED, costs=replace(STATED.costs, access=dict.fromkeys(STATED.costs.access, 0.0)))


def priority_of(losses: dict[str, list[tuple[str, float]]], action: str = "replace") -> pd.DataFrame:
    """Return a priority list: for each boat, (access, loss avoided) of each of its fittings."""
    rows = [
        {
            "boat_id": boat,
            "fitting_id": f"F{number}",
            "fitting_type": "chainplate",
            "material": "stainless 316",
            "action": action,
            "access": access,
            "expected_loss": loss / 0.3,
            "loss_avoided": loss,
            "loss_avoided_lower": loss / 2,
            "loss_avoided_upper": loss * 3,
            "boat_name": f"Invented {boat}",
            "method": None,
        }
        for boat, fittings in losses.items()
        for number, (access, loss) in enumerate(fittings)
    ]
    return pd.DataFrame(rows)


def boats_of(*boat_ids: str, service: str = "charter") -> pd.DataFrame:
    nothing = pd.Series([pd.NaT] * len(boat_ids), dtype="datetime64[ns]")
    return pd.DataFrame({"boat_id": boat_ids, "service": service, "left_latest": nothing})


def slots_of(*rows: tuple[str, str, int, float, str | None]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["slot_id", "starts_on_earliest", "boats_max", "hours_max", "access"])
    return frame.assign(starts_on_earliest=pd.to_datetime(frame["starts_on_earliest"]))


def free_of(*rows: tuple[str, str | None, str]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["boat_id", "from_latest", "to_earliest"])
    return frame.assign(**{name: pd.to_datetime(frame[name]) for name in ("from_latest", "to_earliest")})


def planned(
    priority: pd.DataFrame,
    slots: pd.DataFrame,
    *,
    availability: pd.DataFrame | None = None,
    prices: pd.DataFrame = NO_PRICES,
    settings: Settings = FREE,
    extra: dict[str, Any] = MappingProxyType({}),
    **limits: Any,
) -> Plan:
    return plan(
        priority,
        boats=boats_of(*priority["boat_id"].unique()),
        slots=slots,
        availability=free_of() if availability is None else availability,
        prices=prices,
        lives=pd.DataFrame(),
        settings=replace(settings, plan=replace(settings.plan, **limits)),
        as_of=AS_OF,
        **({"with_curve": False} | dict(extra)),
    )


ONE_WEEK = slots_of(("east", "2026-11-02", 1, float("nan"), None))


def test_no_slots_no_plan_and_it_says_so() -> None:
    made = planned(priority_of({"A": [("aloft", 50.0)]}), slots_of())
    summary = made.plan_summary.iloc[0]
    assert len(made.haul_plan) == 0
    assert (summary["binding"], summary["bound"], summary["gap"], summary["loss_avoided"]) == (
        "no slots given",
        0,
        0,
        0,
    )
    assert summary["loss_left"] == pytest.approx(50.0)


def test_slots_gone_by_are_no_slots() -> None:
    made = planned(priority_of({"A": [("aloft", 50.0)]}), slots_of(("east", "2026-10-30", 1, 9.0, None)))
    assert made.plan_summary["binding"].iloc[0] == "no slots on or after the as-of date"


def test_the_boat_that_avoids_most_gets_the_only_place() -> None:
    made = planned(priority_of({"A": [("aloft", 50.0)], "B": [("aloft", 60.0)]}), ONE_WEEK)
    summary = made.plan_summary.iloc[0]
    assert set(made.haul_plan["boat_id"]) == {"B"}
    assert (summary["boats_waiting"], summary["loss_avoided"]) == (1, 60.0)
    assert (summary["loss_avoided_lower"], summary["loss_avoided_upper"]) == (30.0, 180.0)
    assert summary["bound"] == pytest.approx(60.0)
    assert summary["loss_left"] == pytest.approx(50.0)
    assert "1 for want of places" in summary["binding"]
    (_, told) = plan_lines(made.plan_summary)
    assert "loss avoided 60.0 of at most 60.0 cost units (30.0 to 180.0 were every chance" in told


def test_a_boat_moves_so_that_another_fits() -> None:
    """A can go to either week, B only to the first; taking A first into the first week must be mended."""
    slots = slots_of(("east", "2026-11-02", 1, float("nan"), None), ("east", "2026-11-09", 1, float("nan"), None))
    availability = free_of(("B", "2026-11-02", "2026-11-08"))
    made = planned(priority_of({"A": [("aloft", 60.0)], "B": [("aloft", 50.0)]}), slots, availability=availability)
    assert dict(zip(made.haul_plan["boat_id"], made.haul_plan["starts_on"].dt.day, strict=True)) == {"A": 9, "B": 2}
    assert made.plan_summary["gap"].iloc[0] == pytest.approx(0.0)


def test_a_boat_is_only_taken_where_all_seven_days_are_free() -> None:
    short = free_of(("A", "2026-11-02", "2026-11-07"))
    touching = free_of(("A", "2026-11-02", "2026-11-04"), ("A", "2026-11-05", "2026-11-08"))
    wanted = priority_of({"A": [("aloft", 50.0)]})
    assert len(planned(wanted, ONE_WEEK, availability=short).haul_plan) == 0
    assert len(planned(wanted, ONE_WEEK, availability=touching).haul_plan) == 1


def test_only_offered_accesses_are_opened() -> None:
    slots = slots_of(("mast", "2026-11-02", 1, float("nan"), "mast_out;aloft"))
    made = planned(priority_of({"A": [("aloft", 50.0), ("hauled", 70.0)]}), slots)
    assert list(made.haul_plan["access"]) == ["aloft"]


def test_an_access_is_opened_only_for_jobs_that_together_pay_it() -> None:
    """Mast out costs 15 units, a renewal 3: one job worth 10 less 3 does not pay it, three do."""
    one = planned(priority_of({"A": [("mast_out", 10.0)]}), ONE_WEEK, settings=STATED)
    three = planned(priority_of({"A": [("mast_out", 10.0)] * 3}), ONE_WEEK, settings=STATED)
    assert len(one.haul_plan) == 0
    assert len(three.haul_plan) == 3
    assert three.plan_summary["cost"].iloc[0] == pytest.approx(1500 + 3 * 300)
    assert three.plan_summary["hours"].iloc[0] == pytest.approx(6 + 3 * 2)


def test_a_job_that_avoids_less_than_it_costs_is_not_done() -> None:
    made = planned(priority_of({"A": [("aloft", 50.0), ("aloft", 2.9)]}), ONE_WEEK)
    assert list(made.haul_plan["fitting_id"]) == ["F0"]


def test_jobs_without_an_estimate_cannot_be_weighed() -> None:
    wanted = priority_of({"A": [("aloft", float("nan"))]})
    made = planned(wanted, ONE_WEEK)
    assert len(made.haul_plan) == 0
    assert made.plan_summary["binding"].iloc[0] == "no job pays at the costs set"


def test_open_indications_left_out_are_counted_in_words() -> None:
    wanted = priority_of({"A": [("aloft", 50.0)], "B": [("aloft", 60.0)]}, action="act_now")
    made = planned(wanted, ONE_WEEK)
    assert "1 open indications are not in the plan" in made.plan_summary["binding"].iloc[0]


def test_hours_of_the_week_limit_jobs() -> None:
    """Seven hours: one for going aloft, two a renewal, so three jobs, those that avoid most."""
    slots = slots_of(("east", "2026-11-02", 1, 7.0, None))
    made = planned(priority_of({"A": [("aloft", float(x)) for x in (10, 40, 20, 30)]}), slots)
    assert sorted(made.haul_plan["loss_avoided"]) == [20.0, 30.0, 40.0]


def test_boats_of_a_service_are_kept_even_where_weeks_only_overlap() -> None:
    """Two of three boats must stay: the second week starts three days into the first, so only one boat goes."""
    slots = slots_of(("east", "2026-11-02", 3, float("nan"), None), ("west", "2026-11-05", 3, float("nan"), None))
    wanted = priority_of({name: [("aloft", 50.0)] for name in "ABC"})
    made = planned(wanted, slots, minimum_in_service=0.6)
    assert made.haul_plan["boat_id"].nunique() == 1
    assert "2 for want of boats kept in service" in made.plan_summary["binding"].iloc[0]
    assert made.plan_summary["bound"].iloc[0] == pytest.approx(50.0)


def test_prices_stated_win_over_costs_in_the_settings() -> None:
    prices = pd.DataFrame(
        [("aloft", None, None, 77.0, 0.5), (None, "Chainplate", "replace", 111.0, None)],
        columns=["access", "fitting_type", "action", "cost", "hours"],
    )
    priced = price_list(prices, Settings())
    assert priced.of_access("aloft") == (77.0, 0.5)
    assert priced.of_action("chainplate", "replace") == (111.0, 2.0)
    assert priced.of_action("chainplate", "act_now") == (111.0, 2.0)
    assert priced.of_action("chainplate", "test") == (30.0, 0.5)
    assert priced.of_access("mast_out") == (1500.0, 6.0)


def test_weeks_in_order_and_rough_free_time_taken_at_its_surest() -> None:
    slots = slots_of(
        ("b", "2026-11-09", 1, 5.0, "aloft"), ("a", "2026-11-09", 0, 5.0, None), ("c", "2026-11-02", 2, 5.0, None)
    )
    assert [(w.slot_id, w.starts_on) for w in weeks_of(slots, AS_OF)] == [
        ("c", date(2026, 11, 2)),
        ("b", date(2026, 11, 9)),
    ]
    rough = free_of(("A", "2026-11-02", "2026-11-30"), ("B", None, "2026-11-30"))
    assert free_spans(rough) == {"A": [(date(2026, 11, 2), date(2026, 11, 30))], "B": []}


def best_by_trying(values: dict[str, float], budget_jobs: int, places: int) -> float:
    """Return the most that boats can avoid where each takes one place and one paid job."""
    count = min(budget_jobs, places)
    return max(sum(values[b] for b in chosen) for k in range(count + 1) for chosen in itertools.combinations(values, k))


@pytest.mark.parametrize("budget_jobs", [0, 1, 2, 3, 5])
def test_bound_and_plan_enclose_the_best(budget_jobs: int) -> None:
    """Every choice of boats is tried; the plan may not avoid more, the bound may not lie below."""
    values = {"A": 31.0, "B": 47.0, "C": 18.0, "D": 22.0}
    wanted = priority_of({boat: [("aloft", loss)] for boat, loss in values.items()})
    slots = slots_of(("east", "2026-11-02", 2, float("nan"), None), ("east", "2026-11-09", 1, float("nan"), None))
    made = planned(wanted, slots, budget=300.0 * budget_jobs).plan_summary.iloc[0]
    best = best_by_trying(values, budget_jobs, 3)
    assert made["loss_avoided"] <= best + 1e-9 <= made["bound"] + 1e-6
    assert made["loss_avoided"] == pytest.approx(best)  # one job a boat: greedy by loss is best here


def test_planning_twice_gives_the_same_plan() -> None:
    wanted = priority_of({name: [("aloft", 50.0), ("hauled", 40.0)] for name in "ABCDE"})
    slots = slots_of(("east", "2026-11-02", 2, 9.0, None), ("west", "2026-11-09", 1, 9.0, None))
    first, second = (planned(wanted, slots, budget=900.0) for _ in range(2))
    pd.testing.assert_frame_equal(first.haul_plan, second.haul_plan)
    pd.testing.assert_frame_equal(first.plan_summary, second.plan_summary)
