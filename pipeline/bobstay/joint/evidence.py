"""The spreads of the groups and of the boats, from the evidence of the quadratic model at the current step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve
from scipy.optimize import minimize

from bobstay.joint.design import BOAT, LOG_SD_MEAN, LOG_SD_SD
from bobstay.joint.fleet import Floats, Ints
from bobstay.joint.model import Model, Point
from bobstay.joint.solve import Blocks, Prior, System, reduce

LARGEST_CHANGE = 0.7


@dataclass(frozen=True, slots=True)
class Evidence:
    """Log evidence and its gradient in all seven ln standard deviations, and the mode it rests on."""

    value: float
    gradient: Floats
    coefficients: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class SpreadPace:
    """How much of a wanted change of the spreads is made: half as much where it turns back on the last one."""

    pace: float = 1.0
    last: Floats | None = None

    def after(self, wanted: Floats) -> SpreadPace:
        """Return the pace for a wanted change (7,)."""
        turns = self.last is not None and float(wanted @ self.last) < 0.0
        return SpreadPace(0.5 * self.pace if turns else min(1.4 * self.pace, 1.0), wanted)


FULL_PACE = SpreadPace()


def estimated_spreads(model: Model) -> Ints:
    """Return the places in GROUPS whose standard deviation the fleet can tell: never a boat sd from one boat."""
    groups = model.design.grouped()
    if model.has_boats and model.fleet.boat_count > 1:
        groups = np.append(groups, BOAT)
    return groups


def evidence(model: Model, point: Point, blocks: Blocks, log_sd: Floats) -> Evidence | None:
    """Return the evidence for `log_sd` under the quadratic model of `blocks` at `point`; None where it has no mode.

    `blocks` may hold rates after the coefficients; they have no normal prior here (theirs is in the blocks).
    """
    prior, start = padded(model.prior(log_sd), point, len(blocks.gradient))
    system = reduce(blocks, prior, start, point.boats)
    try:
        factor = cho_factor(system.matrix)
    except LinAlgError:
        return None
    dz = cho_solve(factor, system.rhs)
    value = _value_at_mode(system, prior, start, dz) + _boats_value(system, prior, point.boats)
    value -= float(np.log(np.diag(factor[0])).sum()) + 0.5 * float(((log_sd - LOG_SD_MEAN) ** 2).sum()) / LOG_SD_SD**2
    covariance = cho_solve(factor, np.eye(len(dz)))
    squares = [_squares(model, place, start + dz, covariance) for place in range(BOAT)]
    squares.append(_boat_squares(system, point.boats, dz, covariance))
    pull = (log_sd - LOG_SD_MEAN) / LOG_SD_SD**2
    gradient = np.array([q.sum() * np.exp(-2.0 * h) - len(q) for q, h in zip(squares, log_sd, strict=True)]) - pull
    return Evidence(value, gradient, start + dz, covariance)


def padded(prior: Prior, point: Point, size: int) -> tuple[Prior, Floats]:
    """Return prior and coefficients with room for rates that have no normal prior."""
    more = size - len(prior.mean)
    flat = np.zeros(more)
    wide = Prior(np.concatenate([prior.precision, flat]), np.concatenate([prior.mean, flat]), prior.boat_sd)
    return wide, np.concatenate([point.coefficients, point.psi[:more]])


def _value_at_mode(system: System, prior: Prior, start: Floats, dz: Floats) -> float:
    """Return the quadratic model at its mode, boats' own part left out, with the log determinant of the prior."""
    known = prior.precision > 0.0
    value = -0.5 * float((prior.precision * (start - prior.mean) ** 2).sum()) + 0.5 * float(system.rhs @ dz)
    return value + 0.5 * float(np.log(prior.precision[known]).sum())


def _boats_value(system: System, prior: Prior, boats: Floats) -> float:
    """Return the boats' own part of the quadratic model and their log determinants (0 without a boat effect)."""
    if prior.boat_sd is None:
        return 0.0
    value = -0.5 * float((boats**2).sum()) / prior.boat_sd**2
    value += 0.5 * float((system.boat_gradient**2 / system.boat).sum())
    return value - 0.5 * float(np.log(system.boat * prior.boat_sd**2).sum())


def _squares(model: Model, place: int, z: Floats, covariance: Floats) -> Floats:
    """Return mode^2 + variance of the coefficients of one group."""
    own = np.flatnonzero(model.design.group == place)
    return np.asarray(z[own] ** 2 + np.diag(covariance)[own])


def _boat_squares(system: System, boats: Floats, dz: Floats, covariance: Floats) -> Floats:
    """Return mode^2 + variance of the boat effects (empty without them)."""
    if not len(system.boat):
        return np.zeros(0)
    mode = boats + (system.boat_gradient - system.cross @ dz) / system.boat
    per_boat = system.cross / system.boat[:, None]
    return np.asarray(mode**2 + 1.0 / system.boat + np.einsum("gp,gp->g", per_boat @ covariance, per_boat))


def improved_spreads(model: Model, point: Point, blocks: Blocks, active: Ints) -> Floats:
    """Return ln standard deviations that raise the evidence, each changed by at most LARGEST_CHANGE."""
    if not len(active):
        return point.log_sd

    def against(part: Floats) -> tuple[float, Floats]:
        log_sd = point.log_sd.copy()
        log_sd[active] = part
        found = evidence(model, point, blocks, log_sd)
        return (1e10, np.zeros(len(active))) if found is None else (-found.value, -found.gradient[active])

    start = point.log_sd[active]
    bounds = [(x - LARGEST_CHANGE, x + LARGEST_CHANGE) for x in start]
    result = minimize(against, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 8})
    out = point.log_sd.copy()
    if np.isfinite(result.fun) and result.fun < 1e10:
        out[active] = result.x
    return out
