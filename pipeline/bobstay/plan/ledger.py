"""What a plan in the making leaves of everything, changed a few visits at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bobstay.plan.programme import room_left

if TYPE_CHECKING:
    from bobstay.plan.flat import Ints
    from bobstay.plan.pool import Pool

_CLOSE = 1e-6


class Ledger:
    """Who is in the plan, by the number of her visit, and the room that is left."""

    def __init__(self, pool: Pool, chosen: Ints) -> None:
        self._pool = pool
        self._column = np.full(len(pool.flat.boats), -1, dtype=np.int64)
        self._column[pool.boat[chosen]] = chosen
        room = room_left(pool, chosen)
        self._hours, self._places, self._out, self._accesses = room.hours, room.places, room.out, room.accesses
        self._money, self._all_hours = room.money, room.all_hours

    @property
    def chosen(self) -> Ints:
        """The visits of the plan, boats in order."""
        return self._column[self._column >= 0]

    @property
    def waiting(self) -> Ints:
        """The boats without a visit."""
        return np.flatnonzero(self._column < 0)

    def changed(self, old: Ints, new: Ints) -> bool:
        """Put the visits `new` in the place of `old` where that keeps all limits; say whether it did."""
        self._exchange(old, new)
        if self._is_lawful(self._pool.week[new]):
            return True
        self._exchange(new, old)
        return False

    def _is_lawful(self, weeks: Ints) -> bool:
        return bool(
            self._money >= -_CLOSE
            and self._all_hours >= -_CLOSE
            and (self._hours[weeks] >= -_CLOSE).all()
            and (self._places[weeks] >= 0).all()
            and (self._accesses[weeks] >= -_CLOSE).all()
            and (self._out[self._pool.flat.out[:, weeks].any(axis=1)] >= 0).all()
        )

    def _exchange(self, old: Ints, new: Ints) -> None:
        self._column[self._pool.boat[old]] = -1
        self._column[self._pool.boat[new]] = new
        self._count(old, 1.0)
        self._count(new, -1.0)

    def _count(self, columns: Ints, by: float) -> None:
        pool, flat = self._pool, self._pool.flat
        boat, week = pool.boat[columns], pool.week[columns]
        np.add.at(self._hours, week, by * pool.hours[columns])
        np.add.at(self._places, week, by)
        np.add.at(self._accesses, week, by * pool.opened[:, columns].T)
        np.add.at(self._out.T, flat.group[boat], by * flat.out[:, week].T)
        self._money += by * float(pool.cost[columns].sum())
        self._all_hours += by * float(pool.hours[columns].sum())
