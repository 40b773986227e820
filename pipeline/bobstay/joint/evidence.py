"""The spreads of the groups and of the boats, from the evidence of the quadratic model at the current step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve
from scipy.optimize import minimize

from bobstay.joint.design import BOAT, LOG_SD_MEAN, LOG_SD_SD
from bobstay.joint.fleet import Floats, Ints
from bobstay.joint.model import Model, Point
from bobstay.joint.solve import Blocks, Prior, reduce

LARGEST_CHANGE = 0.7


@dataclass(frozen=True, slots=True)
class Evidence:
    """Log evidence and its gradient in the ln standard deviations that are estimated, and the mode it rests on."""

    value: float
    gradient: Floats
    coefficients: Floats
    covariance: Floats


def estimated_spreads(model: Model) -> Ints:
    """Return the places in GROUPS whose standard deviation the fleet can tell: never a boat sd from one boat."""
    groups = model.design.grouped()
    if model.has_boats and model.fleet.boat_count > 1:
        groups = np.append(groups, BOAT)
    return groups


def evidence(model: Model, point: Point, blocks: Blocks, log_sd: Floats, active: Ints) -> Evidence | None:
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
    covariance = cho_solve(factor, np.eye(len(dz)))
    boats = point.boats + (system.boat_gradient - system.cross @ dz) / system.boat if len(system.boat) else point.boats
    z = start + dz
    value = _value(model, point, system_terms=(system.rhs, dz, system.boat_gradient, system.boat), prior=prior, z=start)
    value += -float(np.log(np.diag(factor[0])).sum()) - 0.5 * float(((log_sd - LOG_SD_MEAN) ** 2).sum()) / LOG_SD_SD**2
    gradient = np.array(
        [_slope(model, place, z, covariance, boats, system.cross, system.boat, log_sd) for place in active]
    )
    return Evidence(value, gradient, z, covariance)


def padded(prior: Prior, point: Point, size: int) -> tuple[Prior, Floats]:
    """Return prior and coefficients with room for rates that have no normal prior."""
    more = size - len(prior.mean)
    flat = np.zeros(more)
    wide = Prior(np.concatenate([prior.precision, flat]), np.concatenate([prior.mean, flat]), prior.boat_sd)
    return wide, np.concatenate([point.coefficients, point.psi[:more]])


def _value(
    model: Model, point: Point, *, system_terms: tuple[Floats, Floats, Floats, Floats], prior: Prior, z: Floats
) -> float:
    """Return the quadratic model at its mode, with the log determinants of the priors and of the boats."""
    rhs, dz, boat_gradient, boat = system_terms
    known = prior.precision > 0.0
    value = -0.5 * float((prior.precision * (z - prior.mean) ** 2).sum()) + 0.5 * float(rhs @ dz)
    value += 0.5 * float(np.log(prior.precision[known]).sum())
    if prior.boat_sd is None:
        return value
    value -= 0.5 * float((point.boats**2).sum()) / prior.boat_sd**2
    value += 0.5 * float((boat_gradient**2 / boat).sum())
    return value - 0.5 * float(np.log(boat * prior.boat_sd**2).sum())


def _slope(
    model: Model, place: int, z: Floats, covariance: Floats, boats: Floats, cross: Floats, boat: Floats, log_sd: Floats
) -> float:
    """Return d evidence / d ln sd = sum(mode^2 + variance) / sd^2 - count, plus the hyperprior's."""
    if place == BOAT:
        per_boat = cross / boat[:, None]
        squares = boats**2 + 1.0 / boat + np.einsum("gp,pq,gq->g", per_boat, covariance, per_boat, optimize=True)
    else:
        own = np.flatnonzero(model.design.group == place)
        squares = z[own] ** 2 + np.diag(covariance)[own]
    prior = -(log_sd[place] - LOG_SD_MEAN[place]) / LOG_SD_SD**2
    return float(squares.sum() * np.exp(-2.0 * log_sd[place]) - len(squares) + prior)


def improved_spreads(model: Model, point: Point, blocks: Blocks, active: Ints) -> Floats:
    """Return ln standard deviations that raise the evidence, each changed by at most LARGEST_CHANGE."""
    if not len(active):
        return point.log_sd

    def against(part: Floats) -> tuple[float, Floats]:
        log_sd = point.log_sd.copy()
        log_sd[active] = part
        found = evidence(model, point, blocks, log_sd, active)
        return (1e10, np.zeros(len(active))) if found is None else (-found.value, -found.gradient)

    start = point.log_sd[active]
    bounds = [(x - LARGEST_CHANGE, x + LARGEST_CHANGE) for x in start]
    result = minimize(against, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 8})
    out = point.log_sd.copy()
    if np.isfinite(result.fun) and result.fun < 1e10:
        out[active] = result.x
    return out
