"""What is known of a fleet, as arrays: lives, the copies of a life whose age is uncertain, and looks.

A life's onset age T is Weibull with ln scale a and ln shape b; looks at it show a crack with chance found once there is
one, and with chance false_call before. A life of unknown age is written as several copies, each with its own age and
prior weight; the likelihood of the life is their weighted sum.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Fleet:
    """Lives (n), copies of lives (c, in order of life) and looks (m, any order).

    Ages are years; `covariates` (n, q) are centred; a copy's look ages are look_age + copy_shift; copy_entry is the
    age at which a late joiner came under observation (0: watched from new), not after its first look; `copy_hidden`
    marks copies whose crack an in-place look cannot see.
    """

    class_index: Ints
    boat_index: Ints
    covariates: Floats
    copy_life: Ints
    copy_log_weight: Floats
    copy_shift: Floats
    copy_entry: Floats
    copy_hidden: Bools
    look_life: Ints
    look_age: Floats
    look_code: Ints
    class_count: int
    boat_count: int
    end_years: Floats | None = None  # by life, age at which its watch ended (None: not told, failures cannot be told)

    @property
    def life_count(self) -> int:
        """Number of lives."""
        return len(self.class_index)

    def of_boats(self, boats: Ints) -> Fleet:
        """Return the part of the fleet on `boats` (boat numbers are dealt anew, classes are kept)."""
        number = np.full(self.boat_count, -1, dtype=np.intp)
        number[boats] = np.arange(len(boats))
        part = self.of_lives(np.flatnonzero(number[self.boat_index] >= 0))
        return replace(part, boat_index=number[part.boat_index], boat_count=len(boats))

    def of_lives(self, lives: Ints) -> Fleet:
        """Return the part of the fleet made of `lives` (ascending), with boats and classes numbered as before."""
        number = np.full(self.life_count, -1, dtype=np.intp)
        number[lives] = np.arange(len(lives))
        copies = number[self.copy_life] >= 0
        looks = number[self.look_life] >= 0
        return replace(
            self,
            class_index=self.class_index[lives],
            boat_index=self.boat_index[lives],
            covariates=self.covariates[lives],
            copy_life=number[self.copy_life[copies]],
            copy_log_weight=self.copy_log_weight[copies],
            copy_shift=self.copy_shift[copies],
            copy_entry=self.copy_entry[copies],
            copy_hidden=self.copy_hidden[copies],
            look_life=number[self.look_life[looks]],
            look_age=self.look_age[looks],
            look_code=self.look_code[looks],
            end_years=None if self.end_years is None else self.end_years[lives],
        )

    def with_boats(self, boats: Ints) -> Fleet:
        """Return a fleet of `boats` (boat numbers, repeats allowed), each a boat of its own, classes kept."""
        lives = [np.flatnonzero(self.boat_index == boat) for boat in boats]
        which = np.concatenate(lives)
        copies, copy_life = _gathered(self.copy_life, which)
        looks, look_life = _gathered(self.look_life, which)
        return replace(
            self,
            class_index=self.class_index[which],
            boat_index=np.repeat(np.arange(len(boats)), [len(own) for own in lives]),
            covariates=self.covariates[which],
            copy_life=copy_life,
            copy_log_weight=self.copy_log_weight[copies],
            copy_shift=self.copy_shift[copies],
            copy_entry=self.copy_entry[copies],
            copy_hidden=self.copy_hidden[copies],
            look_life=look_life,
            look_age=self.look_age[looks],
            look_code=self.look_code[looks],
            boat_count=len(boats),
            end_years=None if self.end_years is None else self.end_years[which],
        )


def _gathered(owner: Ints, lives: Ints) -> tuple[Ints, Ints]:
    """Return the rows of each of `lives` one after another, and the place among `lives` that each belongs to."""
    order = np.argsort(owner, kind="stable")
    first, last = (np.searchsorted(owner[order], lives, side=side) for side in ("left", "right"))
    counts = last - first
    within = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    return order[np.repeat(first, counts) + within], np.repeat(np.arange(len(lives)), counts)
