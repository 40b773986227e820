"""The gatekeeper of the maths: ages as they come, checked row by row and joined where equal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Numbers = NDArray[np.float64]
    Marks = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Observations:
    """Ages of n rows in one time unit: under observation from `entry`, the event in (lower, upper].

    lower == upper is an exact age, upper = inf right-censored, lower = 0 with a finite upper left-censored.
    """

    entry: Numbers
    lower: Numbers
    upper: Numbers
    count: Numbers

    @property
    def is_event(self) -> Marks:
        """Rows whose event was seen, exactly or within an interval."""
        return np.isfinite(self.upper)

    @property
    def is_exact(self) -> Marks:
        """Rows whose event has an exact age."""
        return np.equal(self.lower, self.upper)

    @property
    def life_count(self) -> float:
        """Sum of the counts."""
        return float(self.count.sum())

    @property
    def event_count(self) -> float:
        """Sum of the counts of the events."""
        return float(self.count[self.is_event].sum())

    def chosen(self, rows: Marks | NDArray[np.intp]) -> Observations:
        """Return the rows chosen by a mask or by positions."""
        return Observations(self.entry[rows], self.lower[rows], self.upper[rows], self.count[rows])

    def aggregated(self) -> Observations:
        """Return one row for each distinct (entry, lower, upper), counts summed, sorted by age."""
        if self._is_aggregated():
            return self
        order = np.lexsort((self.upper, self.lower, self.entry))
        ages = np.stack((self.entry, self.lower, self.upper))[:, order]
        is_new = np.concatenate(([True], (ages[:, 1:] != ages[:, :-1]).any(axis=0)))
        starts = np.flatnonzero(is_new)
        count = np.add.reduceat(self.count[order], starts)
        entry, lower, upper = ages[:, starts]
        return Observations(entry, lower, upper, count)

    def _is_aggregated(self) -> bool:
        """Say whether the rows are sorted already and no two are alike."""
        entry, lower, upper = ((x[1:] > x[:-1], x[1:] == x[:-1]) for x in (self.entry, self.lower, self.upper))
        return bool((entry[0] | (entry[1] & (lower[0] | (lower[1] & upper[0])))).all())


def observe(
    entry: ArrayLike | None, lower: ArrayLike, upper: ArrayLike, *, count: ArrayLike | None = None
) -> Observations:
    """Check ages of shape (n,) and return them as float64; `entry` and `count` may be one number or None.

    Raises EstimateError that names the first row at fault (counted from 0).
    """
    ages = {
        "lower": _numbers(lower, "lower"),
        "upper": _numbers(upper, "upper"),
        "entry": _numbers(0.0 if entry is None else entry, "entry"),
        "count": _numbers(1.0 if count is None else count, "count"),
    }
    n = ages["lower"].size
    if n == 0:
        raise EstimateError("there are no rows", where="lower", remedy="give one row for each life")
    for name, values in ages.items():
        if values.ndim == 0 and name in {"entry", "count"}:
            ages[name] = np.full(n, float(values))
        elif values.shape != (n,):
            raise EstimateError(
                f"{name} has shape {values.shape}, lower has ({n},)",
                where=name,
                remedy="give all ages as one-dimensional arrays of one length",
            )
    seen = Observations(**ages)
    _refuse_bad_rows(seen)
    return seen


def _numbers(values: ArrayLike, name: str) -> Numbers:
    raw = np.asarray(values)
    not_numbers = EstimateError(
        f"{name} holds something that is not a number (of kind {raw.dtype})",
        where=name,
        remedy="give ages as numbers, inf where an event was never seen",
    )
    if raw.dtype.kind not in "biufO":
        raise not_numbers
    try:
        numbers = np.asarray(raw, dtype=float)
    except (TypeError, ValueError) as fault:
        raise not_numbers from fault
    return np.atleast_1d(numbers) if name in {"lower", "upper"} else numbers


_FAULTS: tuple[tuple[str, Callable[[Observations], Marks]], ...] = (
    ("an age is missing", lambda o: np.isnan(o.entry) | np.isnan(o.lower) | np.isnan(o.upper)),
    ("an age is negative", lambda o: (o.entry < 0) | (o.lower < 0) | (o.upper < 0)),
    ("lower is not finite", lambda o: np.isinf(o.lower)),
    ("entry is after lower", lambda o: o.entry > o.lower),
    ("upper is before lower", lambda o: o.upper < o.lower),
    ("the event is at age 0", lambda o: o.upper == 0),
    ("the exact age of the event is the age of entry", lambda o: (o.lower == o.upper) & (o.lower == o.entry)),
    ("count is not a number above 0", lambda o: ~((o.count > 0) & np.isfinite(o.count))),
)


def _refuse_bad_rows(seen: Observations) -> None:
    for fault, rule in _FAULTS:
        rows = np.flatnonzero(rule(seen))
        if rows.size:
            i = int(rows[0])
            more = f" (and {rows.size - 1} more rows)" if rows.size > 1 else ""
            shown = ", ".join(f"{n} {getattr(seen, n)[i]:g}" for n in ("entry", "lower", "upper", "count"))
            raise EstimateError(
                f"row {i}: {fault}{more}: {shown}",
                where=f"row {i}, counted from 0",
                remedy="need 0 <= entry <= lower <= upper, upper = inf where never seen, count > 0",
            )
