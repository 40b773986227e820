"""Boats to weeks by greedy choice and improvement: quick, never proven best; `bound` says how far off it may be.

A solver of whole programmes may stand in for `greedy`: it takes a Yard and returns visits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.plan.schedule import Schedule

if TYPE_CHECKING:
    from collections.abc import Callable

    from bobstay.plan.record import Visit, Yard

_PASSES = 10
_TRIALS = 200_000  # exchanges tried at most: about two seconds
_GAIN = 1e-9


def greedy(yard: Yard) -> Schedule:
    """Return the best of the schedules that several orders of boats lead to, each improved by exchanges."""
    full = {boat: _whole(yard, boat) for boat in yard.bundles if yard.reachable[boat]}
    visits = {boat: visit for boat, visit in full.items() if visit is not None}
    made = [_improved(_filled(yard, _order(visits, key))) for key in _KEYS[: _orders(yard)]]
    return max(made, key=lambda schedule: schedule.avoided)


def _orders(yard: Yard) -> int:
    """One order will do where only places are scarce; hours or money call for the others."""
    is_scarce = min(yard.budget, yard.hours, *(week.hours_max for week in yard.weeks)) < float("inf")
    return len(_KEYS) if is_scarce else 1


_KEYS: tuple[Callable[[Visit], float], ...] = (
    lambda visit: visit.avoided,
    lambda visit: visit.avoided / max(visit.hours, _GAIN),
    lambda visit: visit.avoided / max(visit.cost, _GAIN),
)


def _whole(yard: Yard, boat_id: str) -> Visit | None:
    """Return the most the boat could have in any week if she were alone."""
    return Schedule(yard).best_offer(boat_id)


def _order(visits: dict[str, Visit], key: Callable[[Visit], float]) -> list[str]:
    return sorted(visits, key=lambda boat: (-key(visits[boat]), boat))


def _filled(yard: Yard, order: list[str]) -> Schedule:
    schedule = Schedule(yard)
    for boat in order:
        visit = schedule.best_offer(boat)
        if visit:
            schedule.add(visit)
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
    waiting = [boat for boat in sorted(schedule.yard.bundles) if boat not in schedule.visits]
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
