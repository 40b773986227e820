"""What limits a plan, in words."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bobstay.plan.record import Yard
    from bobstay.plan.schedule import Schedule
    from bobstay.plan.solve import Solved


def binding(schedule: Schedule, made: Solved, why: dict[str, str], open_count: int) -> str:
    """Return why boats wait, what is left of jobs and of `open_count` open indications, and how the bound was made.

    `why` as from `reasons`.
    """
    waiting = Counter(why.values())
    parts = [
        f"{count} for want of {why}" for why, count in sorted(waiting.items(), key=lambda item: (-item[1], item[0]))
    ]
    said = f"{_boats(sum(waiting.values()))}: {', '.join(parts)}." if parts else "No boat with jobs that pay waits."
    left = _jobs_left(schedule)
    if left:
        said += f" {left} jobs that pay, of boats in the plan, find no room in it."
    return f"{said}{_not_offered(schedule.yard)}{_open(schedule, open_count)} {_bound(made)}"


def reasons(schedule: Schedule) -> dict[str, str]:
    """Return, for each boat with jobs that pay and no visit, what she waits for want of."""
    return {
        boat: _why(schedule, boat)
        for boat, bundles in schedule.yard.bundles.items()
        if bundles and boat not in schedule.visits
    }


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
    weeks = [week for week in weeks if schedule.would_pay(boat, week, hours=math.inf, money=math.inf)]
    if not weeks:
        return "a week in which her parts are there"
    weeks = [week for week in weeks if schedule.has_place(week)]
    if not weeks:
        return "places"
    weeks = [week for week in weeks if schedule.keeps_service(boat, week)]
    if not weeks:
        return "boats kept in service"
    weeks = [week for week in weeks if schedule.can_open(boat, week)]
    if not weeks:
        return "boats a week that the access can be opened for"
    hours, money = schedule.room(weeks)
    if not any(schedule.would_pay(boat, week, hours=hours, money=math.inf) for week in weeks):
        return "hours"
    if not any(schedule.would_pay(boat, week, hours=math.inf, money=money) for week in weeks):
        return "money"
    return "hours and money"


def _jobs_left(schedule: Schedule) -> int:
    yard = schedule.yard
    payable = sum(len(bundle.jobs) for boat in schedule.visits for bundle in yard.bundles[boat])
    return payable - sum(len(visit.jobs) for visit in schedule.visits.values())


def _not_offered(yard: Yard) -> str:
    """Name accesses that jobs need and no slot offers at all."""
    missing = Counter(
        bundle.access
        for bundles in yard.bundles.values()
        for bundle in bundles
        if not any(week.offers(bundle.access) for week in yard.weeks)
    )
    return "".join(
        f" No slot offers {access}: {count} boats have jobs for it." for access, count in sorted(missing.items())
    )


def _open(schedule: Schedule, open_count: int) -> str:
    """Say how many open indications the plan leaves: those parts must stay out of use whatever the plan gains."""
    left = open_count - sum(job.action == "act_now" for visit in schedule.visits.values() for job in visit.jobs)
    return f" {left} open indications are not in the plan: those parts stay out of use." if left else ""


def _boats(count: int) -> str:
    return "1 boat waits" if count == 1 else f"{count} boats wait"


def _bound(made: Solved) -> str:
    sample = ", its prices those of a sample of the boats" if made.is_sampled else ""
    stopped = "" if made.is_within else " The search ended at its set number of steps, not at its aim."
    return f"The bound is that of the relaxation by prices{sample}.{stopped}"
