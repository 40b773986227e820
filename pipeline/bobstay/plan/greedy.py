"""Boats to weeks by greedy choice and improvement: quick, never proven best; `bound` says how far off it may be.

A solver of whole programmes may stand in for `greedy`: it takes a Yard and returns visits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.plan.record import FREE, Charge
from bobstay.plan.schedule import Schedule

if TYPE_CHECKING:
    from bobstay.plan.record import Visit, Yard

_PASSES = 10
_TRIALS = 20_000  # exchanges tried at most, a schedule
_GAIN = 1e-9
_IMPROVED = 2  # of the first schedules, the best so many are improved
_FACTORS = (0.0, 0.7, 0.9, 1.0, 1.1, 1.4)


def greedy(yard: Yard, charge: Charge) -> Schedule:
    """Return the best of the schedules that some multiples of `charge` lead to, each improved by exchanges.

    `charge` holds the dual prices of money and hours from the linear relaxation: with them each boat gives up the jobs
    that another boat would make more of.
    """
    charges = [FREE] if charge == FREE else [charge.times(factor) for factor in _FACTORS]
    filled = sorted((_filled(yard, tried) for tried in charges), key=lambda made: -made.avoided)
    return max(map(_improved, filled[:_IMPROVED]), key=lambda made: made.avoided)


def _filled(yard: Yard, charge: Charge) -> Schedule:
    """Give each boat her best week, those that gain most for what they use first; then lift the charge."""
    schedule = Schedule(yard, charge)
    alone = {boat: schedule.best_offer(boat) for boat in yard.bundles}
    gains = {boat: visit.avoided - charge.of(visit.hours, visit.cost) for boat, visit in alone.items() if visit}
    for boat in sorted(gains, key=lambda boat: (-gains[boat], boat)):
        visit = schedule.best_offer(boat)
        if visit:
            schedule.add(visit)
    schedule.charge = FREE
    return schedule


def _improved(schedule: Schedule) -> Schedule:
    """Move boats to better weeks, and let waiting boats take places, until nothing more is gained."""
    trials = _TRIALS
    for _ in range(_PASSES):
        before = schedule.avoided
        _move_all(schedule)
        trials = _let_in_all(schedule, trials)
        if schedule.avoided <= before + _GAIN or trials <= 0:
            break
    return schedule


def _move_all(schedule: Schedule) -> None:
    for boat in sorted(schedule.visits):
        old = schedule.remove(boat)
        better = schedule.best_offer(boat)
        schedule.add(better if better and better.avoided > old.avoided + _GAIN else old)


def _let_in_all(schedule: Schedule, trials: int) -> int:
    worth = {boat: sum(b.worth for b in mine) for boat, mine in schedule.yard.bundles.items()}
    waiting = sorted((boat for boat in worth if boat not in schedule.visits), key=lambda boat: (-worth[boat], boat))
    for boat in waiting:
        visit = schedule.best_offer(boat)
        if visit:
            schedule.add(visit)
        else:
            trials = _exchange(schedule, boat, trials)
        if trials <= 0:
            break
    return trials


def _exchange(schedule: Schedule, boat: str, trials: int) -> int:
    """Put `boat` in the place of another, who moves or waits, where that gains; return the trials left."""
    reachable = set(schedule.yard.reachable[boat])
    rivals = [visit for visit in schedule.visits.values() if _rivals(schedule, boat, visit, reachable)]
    for rival in sorted(rivals, key=lambda visit: (visit.avoided, visit.boat_id)):
        trials -= 1
        if _swap(schedule, boat, rival, sorted(reachable)) or trials <= 0:
            break
    return trials


def _rivals(schedule: Schedule, boat: str, visit: Visit, reachable: set[int]) -> bool:
    """Say whether the visit stands in the boat's way: in a week of hers, of her service, or by money and hours."""
    same_service = schedule.yard.service[boat] == schedule.yard.service[visit.boat_id]
    limits = min(schedule.yard.budget, schedule.yard.hours)
    return visit.week in reachable or same_service or limits < float("inf")


def _swap(schedule: Schedule, boat: str, rival: Visit, weeks: list[int]) -> bool:
    schedule.remove(rival.boat_id)
    mine = schedule.best_offer(boat, weeks)
    if mine:
        schedule.add(mine)
        theirs = schedule.best_offer(rival.boat_id)
        if mine.avoided + (theirs.avoided if theirs else 0.0) > rival.avoided + _GAIN:
            if theirs:
                schedule.add(theirs)
            return True
        schedule.remove(boat)
    schedule.add(rival)
    return False
