"""A yard as arrays, boats by number, for the programmes that must look at all of it many times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import date

    from numpy.typing import NDArray

    from bobstay.plan.record import Bundle, Job, Yard

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Bundles:
    """Shape (k,), in the order of their boats; `place` counts within the boat."""

    boat: Ints
    place: Ints
    access: Ints
    hours: Floats
    cost: Floats
    worth: Floats  # what opening the access costs, cost units


@dataclass(frozen=True, slots=True)
class Jobs:
    """Shape (j,), in the order of their bundles; `place` counts within the bundle."""

    bundle: Ints
    place: Ints
    hours: Floats
    cost: Floats
    worth: Floats
    is_fixed: Flags
    of: tuple[Job, ...]


@dataclass(frozen=True, slots=True)
class Kind:
    """Weeks alike in what can be done in them: jobs, shape (j,), whose access is offered and whose parts are there."""

    can: Flags
    cap: float  # hours of the largest such week: no visit can be longer


@dataclass(frozen=True, slots=True)
class Flat:
    """n boats, k bundles, j jobs, w weeks, g groups of boats, a accesses of which only so many may be opened."""

    yard: Yard
    boats: tuple[str, ...]
    bundles: Bundles
    jobs: Jobs
    kinds: tuple[Kind, ...]
    week_kind: Ints  # (w,)
    reach: Flags  # (n, w)
    places: Floats  # (w,)
    hours: Floats  # (w,)
    must: Flags  # (n,) boats that have their week already
    accesses: tuple[str, ...]  # those that are limited
    access_max: Floats  # (a,) in each week
    group: Ints  # (n,)
    out: Flags  # (m, w) weeks that fall on each mark, a day on which boats out of service are counted
    out_max: Floats  # (g,)
    share: float  # of the yard's room that these boats are reckoned with, where they are a sample


def flatten(yard: Yard, every: int = 1) -> Flat:
    """Return the arrays of `yard`, boats in the order of their ids; of a sample, `every` so manieth boat."""
    boats = tuple(sorted(yard.bundles))[::every]
    pairs = [
        (number, place, bundle) for number, boat in enumerate(boats) for place, bundle in enumerate(yard.bundles[boat])
    ]
    limited = tuple(sorted(access for access, most in yard.access_max.items() if np.isfinite(most)))
    jobs = _jobs([bundle for _, _, bundle in pairs], yard)
    week_kind, kinds = _kinds(yard, jobs, [bundle.access for _, _, bundle in pairs])
    groups = sorted(set(yard.group.values()) | set(yard.out_max))
    marks = sorted({mark for week in yard.weeks for mark in week.marks})
    reach = np.zeros((len(boats), len(yard.weeks)), dtype=bool)
    for number, boat in enumerate(boats):
        reach[number, list(yard.reachable[boat])] = True
    return Flat(
        yard=yard,
        boats=boats,
        bundles=_bundles(pairs, limited),
        jobs=jobs,
        kinds=kinds,
        week_kind=week_kind,
        reach=reach,
        places=np.array([week.boats_max for week in yard.weeks], dtype=float),
        hours=np.array([week.hours_max for week in yard.weeks], dtype=float),
        must=np.array([boat in yard.fixed for boat in boats], dtype=bool),
        accesses=limited,
        access_max=np.array([yard.access_max[access] for access in limited], dtype=float),
        group=np.array([groups.index(yard.group[boat]) for boat in boats], dtype=np.int64),
        out=np.array([[mark in week.marks for week in yard.weeks] for mark in marks], dtype=bool).reshape(
            len(marks), len(yard.weeks)
        ),
        share=1.0 / every,
        out_max=np.array([yard.out_max.get(group, 0) for group in groups], dtype=float),
    )


def _bundles(pairs: list[tuple[int, int, Bundle]], limited: tuple[str, ...]) -> Bundles:
    number = {access: i for i, access in enumerate(limited)}
    return Bundles(
        boat=np.array([boat for boat, _, _ in pairs], dtype=np.int64),
        place=np.array([place for _, place, _ in pairs], dtype=np.int64),
        access=np.array([number.get(bundle.access, -1) for _, _, bundle in pairs], dtype=np.int64),
        hours=np.array([bundle.hours for _, _, bundle in pairs], dtype=float),
        cost=np.array([bundle.cost for _, _, bundle in pairs], dtype=float),
        worth=np.array([bundle.access_worth for _, _, bundle in pairs], dtype=float),
    )


def _jobs(bundles: list[Bundle], yard: Yard) -> Jobs:
    rows = [(number, place, job) for number, bundle in enumerate(bundles) for place, job in enumerate(bundle.jobs)]
    fixed = {(job.boat_id, job.fitting_id) for visit in yard.fixed.values() for job in visit.jobs}
    return Jobs(
        bundle=np.array([bundle for bundle, _, _ in rows], dtype=np.int64),
        place=np.array([place for _, place, _ in rows], dtype=np.int64),
        hours=np.array([job.hours for _, _, job in rows], dtype=float),
        cost=np.array([job.cost for _, _, job in rows], dtype=float),
        worth=np.array([job.worth for _, _, job in rows], dtype=float),
        is_fixed=np.array([(job.boat_id, job.fitting_id) in fixed for _, _, job in rows], dtype=bool),
        of=tuple(job for _, _, job in rows),
    )


def _kinds(yard: Yard, jobs: Jobs, accesses: list[str]) -> tuple[Ints, tuple[Kind, ...]]:
    """Return the kind of each week, and the kinds: the same accesses offered, and the same parts there."""
    ready = sorted({job.ready_on for job in jobs.of})
    keys = [(tuple(sorted(week.accesses)), sum(day <= week.starts_on for day in ready)) for week in yard.weeks]
    distinct = sorted(set(keys))
    kinds = []
    for key in distinct:
        first = yard.weeks[keys.index(key)]
        cap = max(week.hours_max for week, own in zip(yard.weeks, keys, strict=True) if own == key)
        kinds.append(
            Kind(_can(first.starts_on, [first.offers(access) for access in accesses], jobs), min(cap, yard.hours))
        )
    return np.array([distinct.index(key) for key in keys], dtype=np.int64), tuple(kinds)


def _can(day: date, offered: list[bool], jobs: Jobs) -> Flags:
    there = np.array([job.ready_on <= day for job in jobs.of], dtype=bool)
    return there & np.array(offered, dtype=bool)[jobs.bundle] if len(jobs.of) else there
