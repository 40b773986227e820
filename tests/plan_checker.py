"""An independent judge of haul-out plans: reads only the tables, shares no code with the planner."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date, timedelta
from typing import Any

import pandas as pd

from bobstay.bench.yards import AS_OF, Instance
from bobstay.plan import Plan
from bobstay.settings import Settings


def check_plan(  # every table a plan must answer to
    haul_plan: pd.DataFrame,
    summary: pd.DataFrame,
    *,
    priority: pd.DataFrame,
    boats: pd.DataFrame,
    slots: pd.DataFrame,
    availability: pd.DataFrame,
    prices: pd.DataFrame,
    settings: Settings,
    as_of: date,
) -> list[str]:
    """Return every way in which the plan breaks a limit or miscounts; an empty list is a lawful plan."""
    jobs = haul_plan.to_dict("records")
    faults = _jobs_are_asked_for(jobs, priority)
    faults += _one_visit_a_boat(jobs)
    faults += _weeks_exist(jobs, slots, as_of)
    faults += _boats_are_free(jobs, availability)
    faults += _enough_in_service(jobs, boats, settings)
    cost, hours, week_hours = _spent(jobs, prices, settings)
    faults += _week_limits(jobs, slots, week_hours)
    faults += _cranes(jobs, settings) + _parts_are_there(jobs, priority, settings, as_of)
    if cost > settings.plan.budget + 1e-6:
        faults.append(f"cost {cost} above the budget")
    if hours > settings.plan.hours + 1e-6:
        faults.append(f"hours {hours} above the plan's")
    return faults + _summary_adds_up(summary.iloc[0], jobs, cost, hours)


def faults_of_bench(made: Instance, found: Plan) -> list[str]:
    """Return what `check_plan` says of the plan of an instance of the benches."""
    frames = {name: getattr(made, name) for name in ("priority", "boats", "slots", "availability", "prices")}
    return check_plan(found.haul_plan, found.plan_summary, **frames, settings=made.settings, as_of=AS_OF)


def day(value: Any) -> date:
    return pd.Timestamp(value).date()


def _jobs_are_asked_for(jobs: list[dict[str, Any]], priority: pd.DataFrame) -> list[str]:
    asked = {(r["boat_id"], r["fitting_id"]): r for r in priority.to_dict("records")}
    faults = []
    seen = set()
    for job in jobs:
        place = (job["boat_id"], job["fitting_id"])
        row = asked.get(place)
        if row is None or row["action"] == "leave" or row["action"] != job["action"]:
            faults.append(f"{place}: not asked for")
        elif not math.isclose(job["loss_avoided"], row["loss_avoided"]):
            faults.append(f"{place}: another loss than the priority's")
        if place in seen:
            faults.append(f"{place}: twice")
        seen.add(place)
    return faults


def _one_visit_a_boat(jobs: list[dict[str, Any]]) -> list[str]:
    weeks = defaultdict(set)
    for job in jobs:
        weeks[job["boat_id"]].add((job["slot_id"], day(job["starts_on"])))
    return [f"{boat}: {len(found)} visits" for boat, found in weeks.items() if len(found) > 1]


def _weeks_exist(jobs: list[dict[str, Any]], slots: pd.DataFrame, as_of: date) -> list[str]:
    offered = {(r["slot_id"], day(r["starts_on_earliest"])): r["access"] for r in slots.to_dict("records")}
    faults = []
    for job in jobs:
        week = (job["slot_id"], day(job["starts_on"]))
        if week not in offered or week[1] < as_of:
            faults.append(f"{week}: no such week to come")
        elif isinstance(offered[week], str) and job["access"] not in {*offered[week].split(";"), "not_stated"}:
            faults.append(f"{week}: does not offer {job['access']}")
    return faults


def _boats_are_free(jobs: list[dict[str, Any]], availability: pd.DataFrame) -> list[str]:
    free: dict[str, set[date]] = defaultdict(set)
    for row in availability.to_dict("records"):
        first, last = day(row["from_latest"]), day(row["to_earliest"])
        free[row["boat_id"]] |= {first + timedelta(days=i) for i in range((last - first).days + 1)}
    faults = []
    for boat, start in {(job["boat_id"], day(job["starts_on"])) for job in jobs}:
        week = {start + timedelta(days=i) for i in range(7)}
        if boat in free and not week <= free[boat]:
            faults.append(f"{boat}: not free in the week of {start}")
    return faults


def _enough_in_service(jobs: list[dict[str, Any]], boats: pd.DataFrame, settings: Settings) -> list[str]:
    by = settings.plan.kept_by
    words = boats[by] if by != "fleet" else pd.Series("fleet", index=boats.index)
    service = dict(zip(boats["boat_id"], words, strict=True))
    size = words.value_counts()
    least = {name: settings.plan.kept_in_service.get(name, 0) for name in size.index}
    out: dict[tuple[str, date], set[str]] = defaultdict(set)
    for job in jobs:
        for i in range(7):
            out[service[job["boat_id"]], day(job["starts_on"]) + timedelta(days=i)].add(job["boat_id"])
    return [
        f"{name}: {len(gone)} out on {when}"
        for (name, when), gone in out.items()
        if size[name] - len(gone) < max(settings.plan.minimum_in_service * size[name] - 1e-9, least[name])
    ]


def _spent(
    jobs: list[dict[str, Any]], prices: pd.DataFrame, settings: Settings
) -> tuple[float, float, dict[tuple[str, date], float]]:
    by_access = {r["access"]: r for r in prices.to_dict("records") if isinstance(r["access"], str)}
    week_hours: dict[tuple[str, date], float] = defaultdict(float)
    cost = sum(job["cost"] for job in jobs)
    for job in jobs:
        week_hours[job["slot_id"], day(job["starts_on"])] += job["hours"]
    for _, slot, start, access in {(j["boat_id"], j["slot_id"], day(j["starts_on"]), j["access"]) for j in jobs}:
        stated = by_access.get(access)
        units = settings.costs.access.get(access, 0.0) * settings.plan.money_per_unit
        cost += units if stated is None else stated["cost"]
        week_hours[slot, start] += settings.plan.access_hours.get(access, 0.0) if stated is None else stated["hours"]
    return cost, sum(week_hours.values()), week_hours


def _week_limits(
    jobs: list[dict[str, Any]], slots: pd.DataFrame, week_hours: dict[tuple[str, date], float]
) -> list[str]:
    boats = defaultdict(set)
    for job in jobs:
        boats[job["slot_id"], day(job["starts_on"])].add(job["boat_id"])
    faults = []
    for row in slots.to_dict("records"):
        week = (row["slot_id"], day(row["starts_on_earliest"]))
        if len(boats[week]) > row["boats_max"]:
            faults.append(f"{week}: {len(boats[week])} boats")
        if not pd.isna(row["hours_max"]) and week_hours.get(week, 0.0) > row["hours_max"] + 1e-6:
            faults.append(f"{week}: {week_hours[week]} hours")
    return faults


def _cranes(jobs: list[dict[str, Any]], settings: Settings) -> list[str]:
    boats = defaultdict(set)
    for job in jobs:
        boats[job["slot_id"], day(job["starts_on"]), job["access"]].add(job["boat_id"])
    most = settings.plan.access_boats_max
    return [f"{key}: opened for {len(ids)}" for key, ids in boats.items() if len(ids) > most.get(key[2], math.inf)]


def _parts_are_there(jobs: list[dict[str, Any]], priority: pd.DataFrame, settings: Settings, as_of: date) -> list[str]:
    kinds = {(r["boat_id"], r["fitting_id"]): r["fitting_type"] for r in priority.to_dict("records")}
    faults = []
    for job in jobs:
        kind = kinds[job["boat_id"], job["fitting_id"]]
        weeks = settings.plan.lead_weeks.get(kind, settings.plan.lead_weeks_otherwise)
        if job["action"] != "test" and (day(job["starts_on"]) - as_of).days < 7 * weeks:
            faults.append(f"{kind}: fitted before its part is there")
    return faults


def _summary_adds_up(summary: Any, jobs: list[dict[str, Any]], cost: float, hours: float) -> list[str]:
    avoided = sum(job["loss_avoided"] for job in jobs)
    bound = summary["bound"]
    gap = (bound - avoided) / bound if bound > 0 else 0.0
    told = {"cost": cost, "hours": hours, "loss_avoided": avoided, "gap": gap}
    faults = [
        f"{name}: {summary[name]} told, {value} counted"
        for name, value in told.items()
        if not math.isclose(summary[name], value, rel_tol=1e-9, abs_tol=1e-6)
    ]
    if summary["net_avoided"] > summary["net_bound"] + 1e-6 or not summary["net_avoided"] <= avoided + 1e-6:
        faults.append("net loss avoided above its bound, or above the loss avoided")
    if avoided > bound + 1e-6:
        faults.append(f"avoided {avoided} above the bound {bound}")
    if summary["boats_planned"] != len({job["boat_id"] for job in jobs}):
        faults.append("boats_planned miscounts")
    return faults
