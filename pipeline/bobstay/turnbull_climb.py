"""The climb to the non-parametric maximum: EM steps on hazards, and iterative convex minorants between them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import isotonic_regression
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.linalg import splu

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]
    Places = NDArray[np.intp]

_ROUNDS = 500
_TOLERANCE = 1e-8  # of the log-likelihood that may still be missing
_NEWTON_STEPS = 4  # in each round
_LONGEST = 2.0  # change of a cell's hazard in one of them
_LEAST = 1e-11  # hazard below which a cell counts as empty
_MOST_HELD = 20000  # cells a Newton step may work on
_GOOD_ENOUGH = 1e-6  # what may be missing, as a share, where rounding stops the climb
_MOST_INVERTED = 3000  # cells whose information matrix is inverted whole
_DEEPEST = 500.0  # the EM step works with S itself, which underflows beyond


@dataclass(frozen=True, slots=True)
class Cells:
    """Rows told in cells 1..size: lives seen to last over cells entry+1..lasted, events in cells lower+1..upper."""

    size: int
    entry: Places
    lasted: Places
    lasted_count: Numbers
    lower: Places
    upper: Places
    event_count: Numbers

    def lasting(self) -> Numbers:
        """Return how many lives were seen to last over each cell."""
        return _spread(self.entry, self.lasted, self.lasted_count, self.size)

    def possible(self) -> Numbers:
        """Return how many events may lie in each cell."""
        return _spread(self.lower, self.upper, self.event_count, self.size)


def _spread(begin: Places, end: Places, weight: Numbers, size: int) -> Numbers:
    """Sum weights over the cells begin+1..end of each row."""
    summed = np.cumsum(_at(begin, weight, size) - _at(end, weight, size))[:-1]
    touched = np.cumsum(np.bincount(begin, minlength=size + 1) - np.bincount(end, minlength=size + 1))[:-1] > 0
    return np.asarray(
        np.where(touched, summed, 0.0), dtype=float
    )  # sums of fractions leave crumbs where no row reaches


def _at(place: Places, weight: Numbers, size: int) -> Numbers:
    return np.asarray(np.bincount(place, weights=weight, minlength=size + 1), dtype=float)


def log_likelihood(cells: Cells, hazard: Numbers) -> float:
    """Return the log-likelihood of cell hazards (size,), which may be infinite."""
    is_sure = np.isinf(hazard)
    sure = np.concatenate(([0], np.cumsum(is_sure)))
    cells = _without_sure(cells, sure)
    return _height(cells, np.concatenate(([0.0], np.cumsum(np.where(is_sure, 0.0, hazard)))))


def _without_sure(cells: Cells, sure: Places) -> Cells:
    """Leave out the events that a cell of infinite hazard makes certain."""
    open_ = sure[cells.upper] == sure[cells.lower]
    return replace(cells, lower=cells.lower[open_], upper=cells.upper[open_], event_count=cells.event_count[open_])


def _height(cells: Cells, total: Numbers) -> float:
    """Return the log-likelihood at cumulative hazards (size + 1,)."""
    with np.errstate(divide="ignore"):
        events = np.log(-np.expm1(-np.maximum(total[cells.upper] - total[cells.lower], 0.0)))
    return float(cells.event_count @ events - cells.lasted_count @ (total[cells.lasted] - total[cells.entry]))


def highest(cells: Cells) -> tuple[Numbers, bool]:
    """Return the cell hazards (size,) of the highest likelihood, and whether the climb converged.

    Cells that no life was seen to outlast take an infinite hazard where an event may lie in them; the rest is a
    concave problem with a finite maximum.
    """
    lasting = cells.lasting()
    is_sure = (lasting == 0) & (cells.possible() > 0)
    open_cells = _without_sure(cells, np.concatenate(([0], np.cumsum(is_sure))))
    if not open_cells.event_count.size:
        return np.where(is_sure, np.inf, 0.0), True
    total, is_converged = _climbed(open_cells, lasting)
    return np.where(is_sure, np.inf, np.diff(total)), is_converged


def _climbed(cells: Cells, lasting: Numbers) -> tuple[Numbers, bool]:
    """Rounds of EM, minorant and Newton steps until the slopes say that nothing is missing, or nothing moves."""
    total, height = _start(cells, lasting), -np.inf
    for _ in range(_ROUNDS):
        expected = _expectation_step(cells, lasting, total)
        if _height(cells, expected) >= _height(cells, total):  # it rises but for rounding
            total = expected
        total = _newton_steps(cells, _minorant_step(cells, total))
        last, height = height, _height(cells, total)
        missing = _missing(cells, total)
        if missing < _TOLERANCE or height <= last:
            return total, missing < _GOOD_ENOUGH * (1 + abs(height))
    return total, False


def _start(cells: Cells, lasting: Numbers) -> Numbers:
    """Spread each event evenly over its cells, and take the hazards that follow."""
    width = (cells.upper - cells.lower).astype(float)
    likely = _spread(cells.lower, cells.upper, cells.event_count / width, cells.size)
    share = np.divide(likely, lasting, out=np.zeros_like(likely), where=lasting > 0)
    return np.concatenate(([0.0], np.cumsum(np.log1p(share))))


def _expectation_step(cells: Cells, lasting: Numbers, total: Numbers) -> Numbers:
    """One EM step: hazard = expected events / expected lives at risk, in each cell."""
    if total[-1] > _DEEPEST:
        return total
    left = np.exp(-total)
    chance = -left[cells.lower] * np.expm1(total[cells.lower] - total[cells.upper])
    weight = cells.event_count / np.maximum(chance, 1e-300)
    inside = _spread(cells.lower, cells.upper, weight, cells.size)
    later = _spread(cells.lower, cells.upper, weight * left[cells.upper], cells.size)
    events = -left[:-1] * np.expm1(total[:-1] - total[1:]) * inside
    at_risk = np.maximum(lasting + left[:-1] * inside - later, events * (1 + 1e-12))
    share = np.divide(events, at_risk, out=np.zeros_like(events), where=at_risk > 0)
    return np.concatenate(([0.0], np.cumsum(-np.log1p(-np.clip(share, 0.0, 1 - 1e-12)))))


def _slopes(cells: Cells, total: Numbers) -> tuple[Numbers, Numbers]:
    """Return gradient and curvature (each (size + 1,)) of the log-likelihood in the cumulative hazards."""
    pull, bend = cells.event_count * _odds(cells, total), _curvature(cells, total)
    gradient = (
        _at(cells.entry, cells.lasted_count, cells.size)
        - _at(cells.lasted, cells.lasted_count, cells.size)
        + _at(cells.upper, pull, cells.size)
        - _at(cells.lower, pull, cells.size)
    )
    return gradient, _at(cells.upper, bend, cells.size) + _at(cells.lower, bend, cells.size)


def _odds(cells: Cells, total: Numbers) -> Numbers:
    return np.asarray(1 / np.expm1(np.clip(total[cells.upper] - total[cells.lower], 1e-12, 700)))


def _curvature(cells: Cells, total: Numbers) -> Numbers:
    odds = _odds(cells, total)
    return np.asarray(cells.event_count * odds * (1 + odds))


def _minorant_step(cells: Cells, total: Numbers) -> Numbers:
    """One step of the iterative convex minorant, halved until the likelihood rises (Jongbloed 1998)."""
    gradient, bend = _slopes(cells, total)
    weight = np.maximum(bend[1:], 1e-6 * bend.max() + np.abs(gradient[1:]) * 1e-3)
    aim = isotonic_regression(total[1:] + gradient[1:] / weight, weights=weight).x
    way = np.concatenate(([0.0], np.maximum(aim, 0.0))) - total
    height = _height(cells, total)
    for halvings in range(30):
        ahead = total + way * 0.5**halvings
        if _height(cells, ahead) > height:
            return np.asarray(ahead)
    return total


def _newton_steps(cells: Cells, total: Numbers) -> Numbers:
    """Newton steps among the cells that hold hazard now; a cell that reaches 0 leaves, and the rest go on."""
    for _ in range(_NEWTON_STEPS):
        held = np.flatnonzero(np.diff(total) > _LEAST)
        if not 0 < held.size <= _MOST_HELD:
            break
        step = _newton_step(_merged(cells, held), np.concatenate(([0.0], np.cumsum(np.diff(total)[held]))))
        hazard, change = np.zeros(cells.size), np.zeros(cells.size)
        hazard[held], change[held] = np.diff(total)[held], np.diff(step)
        ahead = _advanced(cells, hazard, change)
        if ahead is None:
            break
        total = ahead
    return total


def _advanced(cells: Cells, hazard: Numbers, change: Numbers) -> Numbers | None:
    """Go along `change` until, halving, the likelihood rises; None where it does not.

    First with each cell stopped by itself, at 0 or after `_LONGEST`, else all together where the first reaches 0: a
    hazard of 10 lies so far out on a flat tail that Newton's step means nothing there.
    """
    falls = change < 0
    reach = float((hazard[falls] / np.maximum(-change[falls], hazard[falls])).min(initial=1.0))
    height = _height(cells, _totals(hazard))
    for way in (np.clip(change, -np.minimum(hazard, _LONGEST), _LONGEST), change * reach):
        for halvings in range(8):
            ahead = _totals(hazard + way * 0.5**halvings)
            if _height(cells, ahead) > height:
                return ahead
    return None


def _totals(hazard: Numbers) -> Numbers:
    """Return cumulative hazards (size + 1,) from 0."""
    return np.concatenate(([0.0], np.cumsum(np.maximum(hazard, 0.0))))


def _merged(cells: Cells, held: Places) -> Cells:
    """Tell the rows in the held cells alone."""

    def place(old: Places) -> Places:
        return np.searchsorted(held, old)

    return Cells(
        held.size,
        place(cells.entry),
        place(cells.lasted),
        cells.lasted_count,
        place(cells.lower),
        place(cells.upper),
        cells.event_count,
    )


def _newton_step(cells: Cells, total: Numbers) -> Numbers:
    """Return the Newton step of the cumulative hazards (size + 1,), the first held at 0."""
    gradient, _ = _slopes(cells, total)
    return np.concatenate(([0.0], splu(_information(cells, total)).solve(gradient[1:])))


def _information(cells: Cells, total: Numbers) -> csc_matrix:
    """Return minus the Hessian (size, size) in the cumulative hazards of cells 1..size, sparse."""
    _, bend = _slopes(cells, total)
    ties = coo_matrix((_curvature(cells, total), (cells.lower, cells.upper)), shape=(cells.size + 1,) * 2)
    # a thousandth of a billionth of each keeps the matrix regular where the likelihood is straight, whatever the counts
    return (diags(np.where(bend > 0, bend * (1 + 1e-12), 1.0)) - ties - ties.T).tocsc()[1:, 1:]


def hazard_variance(cells: Cells, hazard: Numbers) -> Numbers:
    """Return the variance (size,) of the cumulative hazard after each cell, nan from the first infinite one on.

    The inverse of the information matrix of the cells that hold hazard, those taken as given.
    """
    is_sure = np.isinf(hazard)
    finite = np.where(is_sure, 0.0, hazard)
    held = np.flatnonzero(finite > _LEAST)
    open_cells = _without_sure(cells, np.concatenate(([0], np.cumsum(is_sure))))
    inside = np.zeros(held.size)
    if held.size:
        merged = _merged(open_cells, held)
        inside = _inverse_diagonal(merged, np.concatenate(([0.0], np.cumsum(finite[held]))))
    place = np.searchsorted(held, np.arange(cells.size), side="right")
    return np.where(np.cumsum(is_sure) > 0, np.nan, np.concatenate(([0.0], inside))[place])


def _inverse_diagonal(cells: Cells, total: Numbers) -> Numbers:
    if (cells.upper - cells.lower == 1).all():  # every event in one cell: Greenwood's sum
        bend = _at(cells.upper, _curvature(cells, total), cells.size)[1:]
        return np.asarray(np.cumsum(np.divide(1.0, bend, out=np.full_like(bend, np.nan), where=bend > 0)))
    if cells.size > _MOST_INVERTED:
        return np.full(cells.size, np.nan)
    return np.asarray(np.diag(np.linalg.inv(_information(cells, total).toarray())))


def _missing(cells: Cells, total: Numbers) -> float:
    """Return a bound on the log-likelihood still missing: the problem is concave, so its slopes bound the rise."""
    gradient, _ = _slopes(cells, total)
    rise = np.cumsum(gradient[::-1])[::-1][1:]
    return float(max(rise.max(initial=0.0), 0.0) * (1 + total[-1]) + abs(rise @ np.diff(total)))
