"""The climb to the maximum of the likelihood of any hazard, by damped Newton steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from bobstay.censored.hazards import Floats, Hazard
from bobstay.censored.rows import slopes
from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.censored.rows import Rows, Slopes

Ints = NDArray[np.intp]

STEPS = 100
LONGEST_STEP = 1.0
FARTHEST = 12.0  # a log spread, a bend or a multiplier beyond exp(+-12) has run away


@dataclass(frozen=True, slots=True)
class Climbed:
    """Parameters (p,) at the maximum, covariance (p, p) (0 where held) and the log-likelihood there."""

    theta: Floats
    covariance: Floats
    log_likelihood: float


def climbed(rows: Rows, hazard: Hazard, start: Floats, *, free: Sequence[int] | None = None) -> Climbed:
    """Return the maximum of the log-likelihood from `start` in the `free` parameters (all of them where not said).

    Raises EstimateError where the climb runs away or ends where the likelihood is flat.
    """
    theta = np.array(start, dtype=float)
    index = np.array(range(len(start)) if free is None else free, dtype=np.intp)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        here = slopes(rows, hazard, theta)
        for _ in range(STEPS):
            gradient = here.gradient.sum(axis=1)[index]
            step = _newton_step(gradient, here.hessian[np.ix_(index, index)])
            ahead = _stepped(rows, hazard, theta, step=_spread(step, index, theta), top=float(here.value.sum()))
            rise = float(step @ gradient)
            if ahead is None or rise < 1e-9:
                break
            theta, here = ahead
            if np.abs(theta[1:]).max(initial=0.0) > FARTHEST:
                raise _no_maximum("it grows as a parameter runs away")
    return Climbed(theta, _covariance(here, index), float(here.value.sum()))


def _newton_step(gradient: Floats, hessian: Floats) -> Floats:
    """Return the Newton step with eigenvalues turned to curve downwards, no coordinate moved by more than 1."""
    if not (np.isfinite(gradient).all() and np.isfinite(hessian).all()):
        raise _no_maximum("it has no slope that a number can hold")
    values, vectors = np.linalg.eigh(-hessian)
    turned = np.maximum(np.abs(values), 1e-8)
    step = vectors @ ((vectors.T @ gradient) / turned)
    return np.asarray(step * min(1.0, LONGEST_STEP / max(float(np.abs(step).max()), 1e-300)))


def _spread(step: Floats, index: Ints, theta: Floats) -> Floats:
    """Return the step in all parameters, 0 where one is held."""
    whole = np.zeros_like(theta)
    whole[index] = step
    return whole


def _stepped(rows: Rows, hazard: Hazard, theta: Floats, *, step: Floats, top: float) -> tuple[Floats, Slopes] | None:
    """Halve the step until the likelihood does not fall; None where no step is left."""
    for halvings in range(30):
        ahead = theta + step * 0.5**halvings
        there = slopes(rows, hazard, ahead)
        if float(there.value.sum()) >= top:
            return ahead, there
    return None


def _covariance(here: Slopes, index: Ints) -> Floats:
    information = -here.hessian[np.ix_(index, index)]
    if not np.isfinite(information).all() or np.linalg.eigvalsh(information).min() < 1e-6:
        raise _no_maximum("it is flat where the climb ends")
    covariance = np.zeros_like(here.hessian)
    covariance[np.ix_(index, index)] = np.linalg.inv(information)
    return covariance


def _no_maximum(why: str) -> EstimateError:
    return EstimateError(
        f"no finite maximum of the likelihood exists: {why}",
        where="all rows together",
        remedy="wait for more events, or use a simpler curve",
    )
