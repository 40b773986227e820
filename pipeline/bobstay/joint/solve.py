"""One Newton step with the boat effects eliminated: a diagonal block over boats, a small dense block over the rest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.fleet import Floats

LEAST_TURNED = 1e-3  # an eigenvalue that was negative is not followed further than this allows
LEAST_EIGENVALUE = 1e-8  # what type and class share is held by the priors alone: small beside many looks, and right
BOAT_FLOOR = -0.7  # a boat's own curvature may take back at most this part of its prior's


@dataclass(frozen=True, slots=True)
class Blocks:
    """Gradient and negative Hessian of the log-likelihood in the coefficients (P,) and boat effects (G,)."""

    gradient: Floats
    boat_gradient: Floats
    inner: Floats  # (P, P)
    cross: Floats  # (G, P)
    boat: Floats  # (G,)

    def with_rates(self, score: Floats, inner: Floats, cross: Floats, corner: Floats) -> Blocks:
        """Return the blocks with R rates appended: score (R,), inner (P, R), cross (G, R), corner (R, R)."""
        return replace(
            self,
            gradient=np.concatenate([self.gradient, score]),
            inner=np.block([[self.inner, inner], [inner.T, corner]]),
            cross=np.hstack([self.cross, cross]),
        )


@dataclass(frozen=True, slots=True)
class Prior:
    """Normal priors: precision and mean of the coefficients, standard deviation of the boat effect (None: none)."""

    precision: Floats
    mean: Floats
    boat_sd: float | None


@dataclass(frozen=True, slots=True)
class System:
    """The reduced system: matrix @ step = rhs, boats eliminated through `boat` = their curvature with prior."""

    matrix: Floats
    rhs: Floats
    boat: Floats
    boat_gradient: Floats
    gradient: Floats
    cross: Floats


@dataclass(frozen=True, slots=True)
class Step:
    """A step of coefficients and boat effects, the gain its gradient promises, and whether curvature was mended."""

    coefficients: Floats
    boats: Floats
    decrement: float
    was_mended: bool


def reduce(blocks: Blocks, prior: Prior, coefficients: Floats, boats: Floats) -> System:
    """Return the penalised system at a point with the boat effects eliminated (Schur complement)."""
    gradient = blocks.gradient - prior.precision * (coefficients - prior.mean)
    matrix = blocks.inner + np.diag(prior.precision)
    if prior.boat_sd is None:
        nothing = np.zeros(0)
        return System(matrix, gradient, nothing, nothing, gradient, np.zeros((0, len(gradient))))
    own = prior.boat_sd**-2
    boat = np.maximum(blocks.boat, BOAT_FLOOR * own) + own
    boat_gradient = blocks.boat_gradient - own * boats
    per_boat = blocks.cross / boat[:, None]
    return System(
        matrix=matrix - blocks.cross.T @ per_boat,
        rhs=gradient - per_boat.T @ boat_gradient,
        boat=boat,
        boat_gradient=boat_gradient,
        gradient=gradient,
        cross=blocks.cross,
    )


def step(system: System, damping: float = 0.0) -> Step:
    """Solve the reduced system with scaled eigenvalues made positive and `damping` added to them."""
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(system.matrix)), 1e-8))
    values, vectors = np.linalg.eigh(system.matrix * np.outer(scale, scale))
    mended = _mended(values) + damping
    coefficients = scale * (vectors @ ((vectors.T @ (scale * system.rhs)) / mended))
    boats = (system.boat_gradient - system.cross @ coefficients) / (system.boat * (1.0 + damping))
    decrement = float(system.gradient @ coefficients + system.boat_gradient @ boats)
    return Step(coefficients, boats, decrement, bool(values.min() < LEAST_EIGENVALUE))


def covariance(matrix: Floats) -> Floats:
    """Return the inverse of a reduced matrix, its eigenvalues made positive as in `step`."""
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-8))
    values, vectors = np.linalg.eigh(matrix * np.outer(scale, scale))
    half = scale[:, None] * vectors / np.sqrt(_mended(values))
    return np.asarray(half @ half.T)


def _mended(values: Floats) -> Floats:
    """Return eigenvalues made positive: small ones are kept, those that were not positive turned."""
    return np.where(values > LEAST_EIGENVALUE, values, np.maximum(np.abs(values), LEAST_TURNED))
