"""Decisions kept by --fix, limits that cannot be met, parts to order, risk that stays, what more would buy."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from test_plan import FREE, free_of, planned, priority_of, slots_of

from bobstay.bench.plan import planned as bench_planned
from bobstay.bench.yards import instance
from bobstay.errors import UsageError
from bobstay.plan import read_decisions
from plan_checker import faults_of_bench

TWO_WEEKS = slots_of(("east", "2026-11-02", 1, 9.0, "aloft"), ("east", "2026-11-09", 1, 9.0, None))
THREE = priority_of({"A": [("aloft", 50.0)], "B": [("aloft", 60.0), ("hauled", 9.0)], "C": [("aloft", 10.0)]})


def decided(tmp_path, *rows, columns="boat_id,slot_id,starts_on,fitting_id,action"):
    path = tmp_path / "fix.csv"
    path.write_text("\n".join([columns, *rows]) + "\n", encoding="utf-8")
    return {"decisions": read_decisions(path)}


def test_a_decision_is_kept_though_another_boat_would_avoid_more(tmp_path):
    extra = decided(tmp_path, "C,east,2026-11-09,F0,replace")
    made = planned(THREE, TWO_WEEKS, extra=extra).haul_plan
    assert dict(zip(made["boat_id"], made["starts_on"].dt.date, strict=True)) == {
        "B": date(2026, 11, 2),
        "C": date(2026, 11, 9),
    }


def test_a_plan_may_be_given_back_as_decisions(tmp_path):
    first = planned(THREE, TWO_WEEKS)
    first.haul_plan.to_csv(tmp_path / "plan.csv", index=False)
    again = planned(THREE, TWO_WEEKS, extra={"decisions": read_decisions(tmp_path / "plan.csv")})
    assert first.haul_plan.equals(again.haul_plan)


@pytest.mark.parametrize(
    ("rows", "limits", "named"),
    [
        (["A,east,2026-11-02,F0,replace", "B,east,2026-11-02,F0,replace"], {}, "places of the slot"),
        (["B,east,2026-11-02,F1,replace"], {}, "does not offer the access hauled"),
        (["A,east,2026-11-02,F0,replace"], {"budget": 1.0}, "money (plan.budget)"),
        (["A,east,2026-11-02,F0,replace"], {"hours": 1.0}, "hours of the plan"),
        (["A,east,2026-11-02,F0,replace"], {"minimum_in_service": 1.0}, "boats of charter that may be out"),
        (["A,east,2026-11-02,F0,replace"], {"lead_weeks_otherwise": 1.0}, "the new part is not there before"),
        (["A,east,,F0,replace"], {}, "several weeks"),
        (["A,east,2026-11-02,,", "A,east,2026-11-09,,"], {}, "two weeks"),
        (["A,west,2026-11-02,,"], {}, "no such slot"),
    ],
)
def test_decisions_that_cannot_hold_name_the_limit(tmp_path, rows, limits, named):
    with pytest.raises(UsageError) as refused:
        planned(THREE, TWO_WEEKS, extra=decided(tmp_path, *rows), **limits)
    assert named in refused.value.what
    assert len(refused.value.lines()) == 3


@pytest.mark.parametrize("loss", [50.0, 0.1])
def test_a_boat_that_is_not_free_is_not_decided_on_whether_or_not_she_has_jobs_that_pay(tmp_path, loss):
    rows, free = priority_of({"A": [("aloft", loss)]}), free_of(("A", "2026-12-01", "2026-12-31"))
    with pytest.raises(UsageError, match="the boat is not free"):
        planned(rows, TWO_WEEKS, availability=free, extra=decided(tmp_path, "A,east,2026-11-09,,"))


def test_a_boat_whose_slot_does_not_offer_her_access_is_not_said_to_be_away(tmp_path):
    rows = priority_of({"A": [("hauled", 50.0)]})
    with pytest.raises(UsageError, match="does not offer the access hauled"):
        planned(rows, TWO_WEEKS, extra=decided(tmp_path, "A,east,2026-11-02,F0,replace"))
    made = planned(rows, TWO_WEEKS, extra=decided(tmp_path, "A,east,2026-11-02,,"))
    assert made.haul_plan.empty
    assert made.plan_summary["boats_planned"].iloc[0] == 1


@pytest.mark.parametrize("row", ["Z,east,2026-11-02,,", "A,east,2026-11-02,F9,test", "A,east,2026-11-02,F0,mend"])
def test_decisions_on_what_is_not_there_are_refused(tmp_path, row):
    with pytest.raises(UsageError, match="a decision"):
        planned(THREE, TWO_WEEKS, extra=decided(tmp_path, row))


def test_more_boats_kept_than_there_are_is_refused():
    with pytest.raises(UsageError, match="cannot keep 4 boats of charter in service: there are 3"):
        planned(THREE, TWO_WEEKS, kept_in_service={"charter": 4})


def test_parts_are_ordered_by_their_lead_time_and_not_fitted_before():
    made = planned(THREE, TWO_WEEKS, lead_weeks={"chainplate/stainless 316": 1.0})
    assert list(made.haul_plan["starts_on"].dt.date.unique()) == [date(2026, 11, 9)]
    row = made.parts.iloc[0]
    assert (row["count"], row["needed_by"].date(), row["order_by"].date()) == (2, date(2026, 11, 9), date(2026, 11, 2))
    assert row["boats"] == "B"


def test_risk_that_stays_is_told_by_boat_and_day():
    made = planned(THREE, TWO_WEEKS).deferred.set_index(["boat_id", "kind"])
    assert made.loc[("C", "not_planned"), "loss_deferred"] == pytest.approx(10.0)
    assert made.loc[("C", "not_planned"), "reason"] == "no week: for want of places"
    assert 0 < made.loc[("A", "before_visit"), "loss_deferred"] < 50.0 * 10 / 365


def test_more_of_a_thing_never_buys_less():
    made = planned(THREE, TWO_WEEKS, extra={"with_curve": True}, budget=600.0)
    assert set(made.plan_curve["limit"]) == {"budget", "places"}
    for _, rows in made.plan_curve.groupby("limit"):
        assert rows["net_avoided"].is_monotonic_increasing
        assert rows["is_in_force"].sum() == 1


@pytest.mark.parametrize("scarce", ["places", "money", "all"])
def test_fifty_boats_are_planned_within_one_percent_of_the_bound(scarce):
    """26 weeks of the instance generator, judged by code that shares nothing with the planner."""
    made = instance(1, 50, scarce=scarce)
    found = bench_planned(made)
    assert faults_of_bench(made, found) == []
    assert found.plan_summary["net_gap"].iloc[0] <= 0.01
    assert found.plan_summary["boats_waiting"].iloc[0] > 0 or scarce == "money"


def test_costs_count_against_what_is_avoided():
    """Two units of access and a renewal of three: a job of 4 gains nothing there, and net is loss less costs."""
    settings = replace(FREE, costs=replace(FREE.costs, access=FREE.costs.access | {"aloft": 2.0}))
    made = planned(priority_of({"A": [("aloft", 4.0)], "B": [("aloft", 9.0)]}), TWO_WEEKS, settings=settings)
    assert list(made.haul_plan["boat_id"]) == ["B"]
    assert made.plan_summary["net_avoided"].iloc[0] == pytest.approx(4.0)


THREE_WEEKS = slots_of(*(("east", f"2026-11-{day:02}", 1, 9.0, None) for day in (2, 9, 16)))


def weeks_of(made):
    return {row.boat_id: row.starts_on.day for row in made.haul_plan.itertuples()}


def test_boats_that_avoid_most_come_earliest():
    """By hand: any order of three like weeks avoids the same; the most urgent goes first, whatever she is called."""
    assert weeks_of(planned(priority_of({"A": [("aloft", 10.0)], "B": [("aloft", 50.0)], "C": [("aloft", 30.0)]}),
                            THREE_WEEKS)) == {"B": 2, "C": 9, "A": 16}  # fmt: skip


def test_an_urgent_boat_waits_for_what_she_needs():
    """By hand: the keel is reached in the second week alone; so she has that, and the others keep their order."""
    weeks = slots_of(
        ("east", "2026-11-02", 1, 9.0, "aloft"),
        ("east", "2026-11-09", 1, 9.0, "aloft;hauled"),
        ("east", "2026-11-16", 1, 9.0, "aloft"),
    )
    rows = priority_of({"A": [("hauled", 90.0)], "B": [("aloft", 20.0)], "C": [("aloft", 50.0)]})
    assert weeks_of(planned(rows, weeks)) == {"C": 2, "A": 9, "B": 16}


def test_a_decision_is_not_moved_for_a_more_urgent_boat(tmp_path):
    rows = priority_of({"A": [("aloft", 10.0)], "B": [("aloft", 50.0)]})
    extra = decided(tmp_path, "A,east,2026-11-02,F0,replace")
    assert weeks_of(planned(rows, THREE_WEEKS, extra=extra)) == {"A": 2, "B": 9}
