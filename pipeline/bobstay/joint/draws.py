"""Draws of class parameters, and the age by which one in ten of a class's fittings across the fleet has a crack."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cholesky

from bobstay.joint.design import BOAT
from bobstay.joint.evidence import estimated_spreads, evidence
from bobstay.joint.fleet import Floats, Ints
from bobstay.joint.polish import Estimated

SPREAD_DRAWS = 40  # draws of the ln standard deviations; the others are shared out among them
SPREAD_DIFFERENCE = 0.05
NODES_AT_ONCE = 50_000  # draws times classes times nodes of one array
GRAIN = 0.005  # boats whose ln scale differs by less are taken together
NODES, NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class ClassDraws:
    """Draws by class (D + 1, K), of covariate effects (D + 1, q) and boat sd (D + 1,); draw 0 is the estimate."""

    log_scale: Floats
    log_shape: Floats
    effects: Floats
    boat_sd: Floats


@dataclass(frozen=True, slots=True)
class Patterns:
    """Covariates over which a class is averaged: those of the boats (p, q) with weights, and its own mean (K, q)."""

    boats: Floats
    weights: Floats
    class_means: Floats


def draw_classes(estimated: Estimated, count: int, seed: int) -> ClassDraws:
    """Draw `count` sets of class parameters from the Laplace posterior, the spreads drawn first."""
    rng = np.random.default_rng(seed)
    z, log_sd = _draw_coefficients(estimated, count, rng)
    design = estimated.model.design
    z = np.vstack([estimated.point.coefficients, z])
    has_boats = estimated.model.has_boats
    sd = np.exp(np.concatenate([[estimated.point.log_sd[BOAT]], log_sd[:, BOAT]])) if has_boats else np.zeros(count + 1)
    return ClassDraws(z @ design.scale_rows.T, z @ design.shape_rows.T, z[:, design.covariates], sd)


def _draw_coefficients(estimated: Estimated, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return draws of the coefficients (count, P) and of the ln standard deviations behind each (count, 7)."""
    size = estimated.model.design.size
    active = estimated_spreads(estimated.model)
    share = np.diff(np.linspace(0, count, (SPREAD_DRAWS if len(active) else 1) + 1).astype(int))
    coefficients, spreads = [], []
    for part, log_sd in zip(share, _spread_draws(estimated, active, len(share), rng), strict=True):
        mean, spread = estimated.point.coefficients, estimated.covariance[:size, :size]
        found = evidence(estimated.model, estimated.point, estimated.blocks, log_sd) if len(active) else None
        if found is not None:
            mean, spread = found.coefficients[:size], found.covariance[:size, :size]
        coefficients.append(mean + rng.standard_normal((part, size)) @ _root(spread).T)
        spreads.append(np.tile(log_sd if found is not None else estimated.point.log_sd, (part, 1)))
    return np.vstack(coefficients), np.vstack(spreads)


def full_covariance(estimated: Estimated) -> Floats:
    """Return the covariance of coefficients and rates with the ln standard deviations drawn too, not held."""
    active = estimated_spreads(estimated.model)
    if not len(active):
        return estimated.covariance
    rng = np.random.default_rng(0)
    tries = [
        evidence(estimated.model, estimated.point, estimated.blocks, log_sd)
        for log_sd in _spread_draws(estimated, active, SPREAD_DRAWS, rng)
    ]
    found = [one for one in tries if one is not None]
    if not found:
        return estimated.covariance
    modes = np.stack([one.coefficients for one in found])
    return np.asarray(np.mean([one.covariance for one in found], axis=0) + np.atleast_2d(np.cov(modes.T)))


def _spread_draws(estimated: Estimated, active: Ints, count: int, rng: np.random.Generator) -> Floats:
    """Return draws of the ln standard deviations (count, 7) from the curvature of the evidence at the estimate."""
    centre = estimated.point.log_sd
    out = np.tile(centre, (count, 1))
    if len(active) and (spread := _spread_covariance(estimated, active)) is not None:
        out[:, active] += np.clip(rng.standard_normal((count, len(active))) @ _root(spread).T, -1.5, 1.5)
    return out


def _spread_covariance(estimated: Estimated, active: Ints) -> Floats | None:
    """Return the covariance of the ln standard deviations, None where the evidence has no peak there."""
    columns = []
    for place in active:
        slopes = []
        for side in (SPREAD_DIFFERENCE, -SPREAD_DIFFERENCE):
            log_sd = estimated.point.log_sd.copy()
            log_sd[place] += side
            found = evidence(estimated.model, estimated.point, estimated.blocks, log_sd)
            if found is None:
                return None
            slopes.append(found.gradient[active])
        columns.append((slopes[1] - slopes[0]) / (2 * SPREAD_DIFFERENCE))
    curvature = np.stack(columns)
    values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
    if values.min() <= 0.0:
        return None
    return np.asarray((vectors / values) @ vectors.T)


def _root(matrix: Floats) -> Floats:
    """Return a matrix whose product with its transpose is `matrix`."""
    try:
        return np.asarray(cholesky(matrix, lower=True))
    except LinAlgError:
        values, vectors = np.linalg.eigh(matrix)
        return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def b10_years(draws: ClassDraws, patterns: Patterns) -> Floats:
    """Return the age by which one in ten has a crack, boat effect and covariates averaged over the fleet (D + 1, K).

    The estimate (draw 0) takes the boats' covariates as they are; the other draws take their normal approximation,
    scaled so that both agree at the estimate.
    """
    near = _b10_normal(draws, patterns)
    exact = _b10_exact(draws, patterns)
    return np.asarray(near * (exact / near[0]))


def _b10_normal(draws: ClassDraws, patterns: Patterns) -> Floats:
    along = draws.effects @ patterns.boats.T  # (D + 1, p)
    mean = along @ patterns.weights
    spread = np.sqrt(np.maximum((along - mean[:, None]) ** 2 @ patterns.weights, 0.0) + draws.boat_sd**2)
    offsets = (mean[:, None] + spread[:, None] * NODES)[:, None, :]
    log_scale = draws.log_scale + draws.effects @ patterns.class_means.T
    return _mixture_b10(log_scale, draws.log_shape, offsets, NODE_WEIGHTS)


def _b10_exact(draws: ClassDraws, patterns: Patterns) -> Floats:
    along, place = np.unique(np.round(patterns.boats @ draws.effects[0] / GRAIN) * GRAIN, return_inverse=True)
    shares = np.bincount(place, patterns.weights)
    offsets = (along[:, None] + draws.boat_sd[0] * NODES).ravel()
    weights = (shares[:, None] * NODE_WEIGHTS).ravel()
    log_scale = draws.log_scale[0] + patterns.class_means @ draws.effects[0]
    return np.asarray(_mixture_b10(log_scale[None], draws.log_shape[:1], offsets[None, None], weights)[0])


def _mixture_b10(log_scale: Floats, log_shape: Floats, offsets: Floats, weights: Floats) -> Floats:
    """Solve sum_i weight_i S(t exp(-offset_i)) = 0.9 for t by bisection on ln t; arrays (D, K), offsets (D|1, 1, i)."""
    shape = np.exp(log_shape)
    middle = log_scale + np.log(-np.log(0.9)) / shape
    low, high = middle + offsets.min(axis=-1) - 1e-9, middle + offsets.max(axis=-1) + 1e-9
    at_once = max(NODES_AT_ONCE // log_scale.size, 1)
    parts = [slice(lo, lo + at_once) for lo in range(0, len(weights), at_once)]
    for _ in range(40):
        mid = 0.5 * (low + high)
        survival = np.zeros_like(mid)
        for part in parts:
            y = shape[..., None] * ((mid - log_scale)[..., None] - offsets[..., part])
            survival += np.exp(-np.exp(np.minimum(y, 6.6))) @ weights[part]
        low, high = np.where(survival > 0.9, mid, low), np.where(survival > 0.9, high, mid)
    return np.asarray(np.exp(0.5 * (low + high)))
