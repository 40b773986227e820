"""The non-parametric estimate of censored, late-entered lives: where the data alone put the events.

Turnbull 1976, with the cells of Frydman 1994 for late entry, as a concave problem in the cumulative hazard.
Intervals are half-open (lower, upper]; lower == upper is the one age [t, t].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from bobstay.observations import Observations, observe
from bobstay.turnbull_climb import Cells, hazard_variance, highest, log_likelihood

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TurnbullEstimate:
    """Masses of the event in (lower, upper] (an age [t, t] where equal), shape (k,), in order of age.

    An upper of inf holds the share that outlives all that was seen. Where inside its interval a mass lies, the
    data do not say. `is_converged` is false where the climb stopped short of its tolerance.
    """

    lower: Numbers
    upper: Numbers
    mass: Numbers
    log_likelihood: float
    is_converged: bool
    hazard_variance: Numbers  # of the cumulative hazard at each upper; nan where it cannot be told

    def survival(self, age: ArrayLike) -> Numbers:
        """Return S at ages of any shape: inside an interval of mass the value at its left end holds to its right end.

        So S(t) is 1 less the masses whose upper end is at or before t.
        """
        left = 1.0 - np.concatenate(([0.0], np.cumsum(self.mass)))
        place = np.searchsorted(self.upper, np.asarray(age, dtype=float), side="right")
        return np.asarray(np.clip(left, 0.0, 1.0)[place])

    def limits(self, age: ArrayLike, *, cover: float) -> tuple[Numbers, Numbers]:
        """Return limits of S at ages of any shape, each alone at nominal `cover`; nan where S is 0 or 1.

        On the scale of log(-log S), with the variance of the cumulative hazard from the information matrix of the
        cells that hold mass: Greenwood's where ages are exact. It takes those cells as given, which is right for looks
        on common dates and somewhat short where every look has its own.
        """
        place = np.searchsorted(self.upper, np.asarray(age, dtype=float), side="right")
        variance = np.concatenate(([np.nan], self.hazard_variance))[place]
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            hazard = -np.log(self.survival(age))
            reach = np.exp(ndtri((1 + cover) / 2) * np.sqrt(variance) / hazard)
            limits = np.exp(-hazard * reach), np.exp(-hazard / reach)
        is_told = np.isfinite(hazard) & (hazard > 0)
        return np.where(is_told, limits[0], np.nan), np.where(is_told, limits[1], np.nan)


def estimate(
    entry: ArrayLike | None, lower: ArrayLike, upper: ArrayLike, count: ArrayLike | None = None
) -> TurnbullEstimate:
    """Return the non-parametric maximum-likelihood estimate of rows (n,), as `weibull.estimate` takes them.

    Raises EstimateError on bad rows only: with no event all mass outlives what was seen. Where everyone at risk had
    the event, survival is 0 from there on, and lives that enter later no longer show in the masses.
    """
    seen = observe(entry, lower, upper, count=count).aggregated()
    ages = np.unique(np.concatenate((seen.entry, seen.lower, seen.upper[seen.is_event])))
    begins, ends, cells = _cells(seen, ages)
    hazard, is_converged = highest(cells)
    with np.errstate(over="ignore"):
        left = np.exp(-np.concatenate(([0.0], np.cumsum(hazard))))
    mass = left[:-1] - left[1:]
    kept = mass > 1e-12
    variance = hazard_variance(cells, hazard)
    lowers, uppers, masses = ages[begins // 2][kept], ages[ends // 2][kept], mass[kept]
    variance = variance[kept]
    if left[-1] > 1e-12:
        last = float(max(seen.lower.max(), uppers.max(initial=0.0)))
        lowers, uppers, masses = np.append(lowers, last), np.append(uppers, np.inf), np.append(masses, left[-1])
        variance = np.append(variance, np.nan)
    return TurnbullEstimate(
        lowers, uppers, masses / masses.sum(), log_likelihood(cells, hazard), is_converged, variance
    )


def _cells(seen: Observations, ages: Numbers) -> tuple[NDArray[np.intp], NDArray[np.intp], Cells]:
    """Return begin and end keys of the cells that can hold mass, and the rows told in cells.

    An age has two keys, 2i just before it and 2i + 1 at it. A cell runs from a lower to the next end of an interval,
    or the next entry of a life that was then seen to last, with no other lower between: anywhere else the same mass
    would serve fewer rows or cost more of them.
    """
    at_entry = 2 * np.searchsorted(ages, seen.entry) + 1
    at_lower = 2 * np.searchsorted(ages, seen.lower) + 1 - seen.is_exact
    at_upper = 2 * np.searchsorted(ages, np.where(seen.is_event, seen.upper, ages[-1])) + 1
    lasted = at_lower > at_entry
    begins = np.unique(at_lower[lasted | seen.is_event])
    ends = np.unique(np.concatenate((at_upper[seen.is_event], at_entry[lasted])))
    next_end = np.searchsorted(ends, begins, side="right")
    is_cell = next_end < ends.size
    begins, next_end = begins[is_cell], next_end[is_cell]
    is_last = np.append(next_end[1:] != next_end[:-1], True)[: begins.size]
    begins, ends = begins[is_last], ends[next_end[is_last]]

    def place(keys: NDArray[np.intp]) -> NDArray[np.intp]:
        return np.searchsorted(ends, keys, side="right")

    return begins, ends, Cells(
        size=begins.size,
        entry=place(at_entry)[lasted],
        lasted=place(at_lower)[lasted],
        lasted_count=seen.count[lasted],
        lower=place(at_lower)[seen.is_event],
        upper=place(at_upper)[seen.is_event],
        event_count=seen.count[seen.is_event],
    )  # fmt: skip
