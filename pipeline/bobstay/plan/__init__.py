"""The haul-out plan: which boats go into which yard week, and what is done there."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.plan.bound import Bound, upper_bound
from bobstay.plan.greedy import greedy
from bobstay.plan.jobs import bundles_by_boat, price_list
from bobstay.plan.record import Plan
from bobstay.plan.schedule import Schedule
from bobstay.plan.weeks import yard_of
from bobstay.plan.words import binding, without_slots
from bobstay.tables import HAUL_PLAN, PLAN_SUMMARY, checked

if TYPE_CHECKING:
    from bobstay.settings import Settings

__all__ = ["Plan", "plan"]


def plan(  # what limits a plan comes from many tables
    priority: pd.DataFrame,
    *,
    boats: pd.DataFrame,
    slots: pd.DataFrame,
    availability: pd.DataFrame,
    prices: pd.DataFrame,
    lives: pd.DataFrame,  # noqa: ARG001  kept for a planner that looks at histories
    settings: Settings,
    as_of: date,
) -> Plan:
    """Put boats with jobs that pay into yard weeks: at most one visit a boat, most loss avoided within all limits.

    Greedy with exchanges; `bound` is the linear relaxation's, so `gap` says how far from the best it may be. Losses
    are in cost units, costs in money.
    """
    bundles = bundles_by_boat(priority, price_list(prices, settings))
    yard = yard_of(bundles, boats=boats, slots=slots, availability=availability, settings=settings, as_of=as_of)
    if not (yard.weeks and bundles):
        words = without_slots(yard, is_given=len(slots) > 0)
        return Plan(
            _haul_plan(Schedule(yard), priority), _summary(Schedule(yard), Bound(0.0, 1), words, priority, settings)
        )
    bound = upper_bound(yard)
    schedule = greedy(yard, bound.charge)
    words = binding(schedule, bound, int((priority["action"] == "act_now").sum()))
    return Plan(_haul_plan(schedule, priority), _summary(schedule, bound, words, priority, settings))


def _haul_plan(schedule: Schedule, priority: pd.DataFrame) -> pd.DataFrame:
    facts = priority.set_index(["boat_id", "fitting_id"])[["boat_name", "fitting_type", "method"]]
    rows = [
        {
            "boat_id": job.boat_id,
            "slot_id": schedule.yard.weeks[visit.week].slot_id,
            "starts_on": pd.Timestamp(schedule.yard.weeks[visit.week].starts_on),
            "access": job.access,
            "fitting_id": job.fitting_id,
            "action": job.action,
            "hours": job.hours,
            "cost": job.cost,
            "loss_avoided": job.avoided,
        }
        for visit in schedule.visits.values()
        for job in visit.jobs
    ]
    columns = [name for name in HAUL_PLAN.column_names if name not in facts.columns]
    frame = pd.DataFrame(rows, columns=columns).join(facts, on=["boat_id", "fitting_id"], validate="one_to_one")
    return checked(frame, HAUL_PLAN)


def _summary(schedule: Schedule, bound: Bound, words: str, priority: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return the one row of the summary; loss_left is what all fittings in service would still be expected to lose."""
    avoided = schedule.avoided
    most = max(bound.avoided, avoided)  # the solver's last digits
    row: dict[str, Any] = {
        "cost": sum((visit.cost for visit in schedule.visits.values()), 0.0),
        "hours": sum((visit.hours for visit in schedule.visits.values()), 0.0),
        "loss_avoided": avoided,
        "loss_left": _failure_loss(priority, settings) - avoided,
        "bound": most,
        "gap": (most - avoided) / most if most > 0 else 0.0,
        "boats_planned": len(schedule.visits),
        "boats_waiting": len(schedule.yard.bundles) - len(schedule.visits),
        "binding": words,
    }
    return checked(pd.DataFrame([row]), PLAN_SUMMARY)


def _failure_loss(priority: pd.DataFrame, settings: Settings) -> float:
    """Return the expected failure loss of all fittings in service, cost units, those without an estimate left out."""
    acts = priority["action"] == "act_now"
    loss = (priority["expected_loss"] * settings.costs.failure).where(~acts, priority["loss_avoided"])
    return float(loss.sum())
