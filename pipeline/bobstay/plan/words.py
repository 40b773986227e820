"""What limits a plan, in words."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bobstay.plan.bound import Bound
    from bobstay.plan.record import Yard
    from bobstay.plan.schedule import Schedule


def binding(schedule: Schedule, bound: Bound, open_count: int) -> str:
    """Return why boats wait, what is left of jobs and of `open_count` open indications, and how the bound was made."""
    yard = schedule.yard
    waiting = Counter(_why(schedule, boat) for boat in yard.bundles if boat not in schedule.visits)
    left = _jobs_left(schedule)
    parts = [
        f"{count} for want of {why}" for why, count in sorted(waiting.items(), key=lambda item: (-item[1], item[0]))
    ]
    said = f"{_boats(sum(waiting.values()))}: {', '.join(parts)}." if parts else "No boat with jobs that pay waits."
    if left:
        said += f" {left} jobs that pay, of boats in the plan, find no room in it."
    return f"{said}{_open(schedule, open_count)} {_bound(bound)}"


def without_slots(yard: Yard, is_given: bool) -> str:
    """Return why there is no plan at all."""
    if not yard.weeks:
        return "no slots on or after the as-of date" if is_given else "no slots given"
    return "no job pays at the costs set"


def _why(schedule: Schedule, boat: str) -> str:
    yard = schedule.yard
    weeks = list(yard.reachable[boat])
    if not weeks:
        return "a week in which she is free and her access is offered"
    weeks = [week for week in weeks if schedule.has_place(week)]
    if not weeks:
        return "places"
    weeks = [week for week in weeks if schedule.keeps_service(boat, week)]
    if not weeks:
        return "boats kept in service"
    hours, money = schedule.room(weeks)
    if any(schedule.visit(boat, week, hours=math.inf, money=money) for week in weeks):
        return "hours"
    return (
        "money" if any(schedule.visit(boat, week, hours=hours, money=math.inf) for week in weeks) else "hours and money"
    )


def _jobs_left(schedule: Schedule) -> int:
    yard = schedule.yard
    payable = sum(len(bundle.jobs) for boat in schedule.visits for bundle in yard.bundles[boat])
    return payable - sum(len(visit.jobs) for visit in schedule.visits.values())


def _open(schedule: Schedule, open_count: int) -> str:
    """Say how many open indications the plan leaves: those parts must stay out of use whatever the plan gains."""
    left = open_count - sum(job.action == "act_now" for visit in schedule.visits.values() for job in visit.jobs)
    return f" {left} open indications are not in the plan: those parts stay out of use." if left else ""


def _boats(count: int) -> str:
    return "1 boat waits" if count == 1 else f"{count} boats wait"


def _bound(bound: Bound) -> str:
    merged = "" if bound.merged == 1 else f", {bound.merged} neighbouring weeks taken as one"
    return f"The bound is that of the linear relaxation{merged}."
