"""The choice among visits thought of: at most one a boat, within places, hours, money, cranes and boats kept."""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, vstack

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bobstay.plan.flat import Flat, Floats, Ints
    from bobstay.plan.pool import Pool

_MARGIN = 1e-7  # the solver may pass a limit by as much


@dataclass(frozen=True, slots=True)
class Rows:
    """Limits `matrix @ x <= most` on chosen columns; `least` is 1 for boats that must have their week, else -inf."""

    matrix: csr_array
    most: Floats
    least: Floats


@dataclass(frozen=True, slots=True)
class Room:
    """What is left of everything: hours and places (w,), boats out (m, g), money, hours, accesses a week (w, a)."""

    hours: Floats
    places: Floats
    out: Floats
    money: float
    all_hours: float
    accesses: Floats


def whole_room(flat: Flat) -> Room:
    """Return the room of an empty yard."""
    share = flat.share
    out = np.repeat(share * flat.out_max[None, :], flat.out.shape[0], axis=0)
    accesses = np.repeat(share * flat.access_max[None, :], len(flat.hours), axis=0)
    yard = flat.yard
    return Room(share * flat.hours, share * flat.places, out, share * yard.budget, share * yard.hours, accesses)


def room_left(pool: Pool, chosen: Ints) -> Room:
    """Return the room that the columns `chosen` leave."""
    flat, room = pool.flat, whole_room(pool.flat)
    boat, week = pool.boat[chosen], pool.week[chosen]
    by_group = np.zeros((len(flat.hours), len(flat.out_max)))
    np.add.at(by_group, (week, flat.group[boat]), 1.0)
    accesses = room.accesses.copy()
    np.subtract.at(accesses, week, pool.opened[:, chosen].T)
    return Room(
        room.hours - np.bincount(week, pool.hours[chosen], len(flat.hours)),
        room.places - np.bincount(week, minlength=len(flat.hours)),
        room.out - flat.out.astype(float) @ by_group,
        room.money - float(pool.cost[chosen].sum()),
        room.all_hours - float(pool.hours[chosen].sum()),
        accesses,
    )


def rows_of(pool: Pool, columns: Ints, room: Room, *, by_week: bool) -> Rows:
    """Return the limits on `columns`, accesses counted by week or, for prices, over all weeks."""
    flat, count = pool.flat, len(columns)
    boat, week, at = pool.boat[columns], pool.week[columns], np.arange(count)
    one = np.ones(count)

    def sparse(weights: Floats, rows: Ints, height: int) -> csr_array:
        return csr_array((weights, (rows, at)), shape=(height, count))

    weeks = len(flat.hours)
    by_boat = sparse(one, boat, len(flat.boats))
    by_place = sparse(one, week, weeks)
    blocks = [by_boat, by_place, sparse(pool.hours[columns], week, weeks)]
    most = [np.ones(len(flat.boats)), room.places, room.hours]
    for group in range(len(flat.out_max)):
        blocks.append(csr_array(flat.out.astype(float)) @ by_place.multiply((flat.group[boat] == group)[None, :]))
        most.append(room.out[:, group])
    nought = np.zeros(count, dtype=np.int64)
    blocks += [sparse(pool.cost[columns], nought, 1), sparse(pool.hours[columns], nought, 1)]
    most += [np.array([room.money]), np.array([room.all_hours])]
    for access in range(len(flat.accesses)):
        opened = pool.opened[access, columns]
        blocks.append(sparse(opened, week, weeks) if by_week else sparse(opened, nought, 1))
        limits = room.accesses[:, access]
        most.append(limits if by_week else np.array([limits[_offering(flat, access)].sum()]))
    least = np.full(sum(len(part) for part in most), -np.inf)
    least[: len(flat.boats)][flat.must] = 1.0
    return Rows(vstack(blocks, format="csr"), np.concatenate(most), least)


def _offering(flat: Flat, access: int) -> list[bool]:
    return [week.offers(flat.accesses[access]) for week in flat.yard.weeks]


def prices(pool: Pool, columns: Ints) -> tuple[float, Floats, Floats]:
    """Return the value of the linear relaxation over `columns`, the price of each limit (boats first), the shares."""
    rows = rows_of(pool, columns, whole_room(pool.flat), by_week=False)
    binds = np.isfinite(rows.most)
    if not len(columns):
        return 0.0, np.zeros(len(rows.most)), np.zeros(0)
    solved = linprog(
        -pool.gain[columns], A_ub=rows.matrix[binds], b_ub=rows.most[binds], bounds=(0, None), method="highs-ipm"
    )
    price = np.zeros(len(rows.most))
    price[binds] = np.maximum(-solved.ineqlin.marginals, 0.0)
    return float(-solved.fun), price, np.asarray(solved.x)


def best_of(pool: Pool, columns: Ints, room: Room, *, gap: float, nodes: int) -> tuple[Ints, bool]:
    """Return the columns to choose within `room`, and whether they are proven best within `gap`."""
    if not len(columns):
        return columns, True
    rows = rows_of(pool, columns, room, by_week=True)
    least = np.where(np.isin(np.arange(len(rows.least)), pool.boat[columns]), rows.least, -np.inf)
    used = np.diff(rows.matrix.indptr) > 0
    used &= np.isfinite(rows.most)
    most = rows.most[used]
    with _quiet():
        solved = milp(
            -pool.gain[columns],
            constraints=LinearConstraint(
                rows.matrix[used], least[used], most - _MARGIN * np.maximum(1.0, np.abs(most)) * (most != 1)
            ),
            bounds=Bounds(0, 1),
            integrality=np.ones(len(columns)),
            options={"mip_rel_gap": gap, "node_limit": nodes},
        )
    if solved.x is None:
        return np.zeros(0, dtype=np.int64), False
    return columns[np.flatnonzero(solved.x > 0.5)], bool(solved.status == 0)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the solver's own lines off standard output, which belongs to the command (HiGHS 1.12 prints one even so)."""
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
