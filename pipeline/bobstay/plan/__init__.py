"""The haul-out plan: which boats go into which yard week, and what is done there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.plan.curve import curve
from bobstay.plan.deferred import deferred
from bobstay.plan.fixed import Decision, jobs_decided, read_decisions, with_decisions
from bobstay.plan.jobs import bundles_by_boat, price_list
from bobstay.plan.parts import parts
from bobstay.plan.record import Plan
from bobstay.plan.schedule import Schedule
from bobstay.plan.solve import NOTHING, Solved, solved
from bobstay.plan.weeks import yard_of
from bobstay.plan.words import binding, reasons, without_slots
from bobstay.tables import DEFERRED, HAUL_PLAN, PARTS, PLAN_CURVE, PLAN_SUMMARY, checked

if TYPE_CHECKING:
    from datetime import date

    from bobstay.plan.record import Yard
    from bobstay.settings import Settings

__all__ = ["Decision", "Plan", "plan", "read_decisions"]


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
    decisions: tuple[Decision, ...] = (),
    with_curve: bool = True,
) -> Plan:
    """Put boats with jobs that pay into yard weeks: one visit a boat, most loss avoided net of costs, all limits kept.

    `decisions` are kept whatever they gain. Losses are in cost units, costs in money. Raises UsageError where a
    demand cannot be met, naming the limit in its way.
    """
    decided = _decided(decisions, priority, boats)
    bundles = bundles_by_boat(priority, price_list(prices, settings), as_of, fixed=decided)
    yard = yard_of(bundles, boats=boats, slots=slots, availability=availability, settings=settings, as_of=as_of)
    yard = with_decisions(yard, decisions, decided) if decisions else yard
    can_plan = bool(yard.weeks and bundles)
    made = solved(yard) if can_plan else NOTHING
    schedule = Schedule(yard, made.visits)
    acts = int((priority["action"] == "act_now").sum())
    why = reasons(schedule) if can_plan else dict.fromkeys(bundles, "slots")
    words = binding(schedule, made, why, acts) if can_plan else without_slots(yard, is_given=len(slots) > 0)
    jobs = _haul_plan(schedule, priority)
    return Plan(
        haul_plan=jobs,
        plan_summary=_summary(schedule, made, words, priority, settings).pipe(_with_bounds, jobs, priority),
        plan_curve=checked(curve(yard, made) if with_curve and can_plan else _empty(PLAN_CURVE), PLAN_CURVE),
        deferred=checked(deferred(priority, jobs, why, settings=settings, as_of=as_of), DEFERRED),
        parts=checked(parts(jobs, priority, settings), PARTS),
    )


def _decided(decisions: tuple[Decision, ...], priority: pd.DataFrame, boats: pd.DataFrame) -> dict[str, dict[str, str]]:
    rows = priority[["boat_id", "fitting_id", "action"]].astype(str)
    proposed = {(boat, fitting): action for boat, fitting, action in rows.itertuples(index=False, name=None)}
    return jobs_decided(decisions, proposed, set(boats["boat_id"].astype(str)))


def _empty(table: Any) -> pd.DataFrame:
    return pd.DataFrame(columns=list(table.column_names))


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


def _summary(schedule: Schedule, made: Solved, words: str, priority: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return the one row of the summary; loss_left is what all fittings in service would still be expected to lose."""
    visits = list(schedule.visits.values())
    avoided = sum((visit.avoided for visit in visits), 0.0)
    net = sum((visit.worth for visit in visits), 0.0)
    net_bound = max(made.bound, net)  # the solver's last digits
    most = net_bound + (avoided - net)  # at no more cost than this plan's
    row: dict[str, Any] = {
        "cost": sum((visit.cost for visit in visits), 0.0),
        "hours": sum((visit.hours for visit in visits), 0.0),
        "loss_avoided": avoided,
        "loss_left": _failure_loss(priority, settings) - avoided,
        "bound": most,
        "gap": (most - avoided) / most if most > 0 else 0.0,
        "boats_planned": len(visits),
        "boats_waiting": len(_wanting(schedule.yard)) - len(_wanting(schedule.yard) & set(schedule.visits)),
        "binding": words,
        "net_avoided": net,
        "net_bound": net_bound,
        "net_gap": (net_bound - net) / net_bound if net_bound > 0 else 0.0,
    }
    return pd.DataFrame([row])


def _with_bounds(summary: pd.DataFrame, jobs: pd.DataFrame, priority: pd.DataFrame) -> pd.DataFrame:
    """Add what the jobs avoid were every chance at one end of its interval at once.

    A job decided on against the proposal goes by the bounds of the proposal, in proportion; one without bounds counts
    as it is.
    """
    keys, ends = ["boat_id", "fitting_id"], ["loss_avoided_lower", "loss_avoided_upper"]
    proposed = priority[[*keys, *ends, "loss_avoided"]].rename(columns={"loss_avoided": "proposed"})
    rows = jobs[[*keys, "loss_avoided"]].merge(proposed, on=keys, validate="one_to_one")
    share = rows[ends].div(rows["proposed"].where(rows["proposed"] > 0), axis=0).fillna(1.0)
    return checked(summary.assign(**share.mul(rows["loss_avoided"], axis=0).sum()), PLAN_SUMMARY)


def _wanting(yard: Yard) -> set[str]:
    """Return the boats with jobs that pay or are decided."""
    return {boat for boat, bundles in yard.bundles.items() if bundles}


def _failure_loss(priority: pd.DataFrame, settings: Settings) -> float:
    """Return the expected failure loss of all fittings in service, cost units, those without an estimate left out."""
    acts = priority["action"] == "act_now"
    loss = (priority["expected_loss"] * settings.costs.failure).where(~acts, priority["loss_avoided"])
    return float(loss.sum())
