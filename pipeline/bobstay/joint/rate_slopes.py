"""How the logit rates bear on everything else: their part of the Hessian, exactly, in one pass.

Given the onset's interval the log weight of a history is, up to a constant, the sum Q_r of (dB - dA) / d psi_r over the
looks from its crack on. By Louis (1982, from memory) the Hessian of the observed likelihood between psi_r and anything
else is the covariance of Q_r with that one's slope over the posterior of the interval, less what is expected of the rates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Floats
from bobstay.joint.layout import Block, Layout
from bobstay.joint.passes import Part, Weights, log_likelihoods, over_lives, shares_of
from bobstay.joint.rates import code_tables

TABLE_DIFFERENCE = 1e-4  # on the logit scale; of some forty numbers, so that any table of rates will do


@dataclass(frozen=True, slots=True)
class RateSlopes:
    """By life the slopes of d logL/da and d logL/db in the rates (R2, n); in all the covariance of the Q (R2, R2)."""

    in_scale: Floats
    in_shape: Floats
    corner: Floats


def table_slopes(psi: Floats, cleared: float, sight: Floats | None = None) -> tuple[Floats, Floats]:
    """Return dA / d psi and dB / d psi of every code (R2, codes), by central differences of the tables."""
    sides = TABLE_DIFFERENCE * np.eye(len(psi))
    ends = [(code_tables(psi + side, cleared, sight), code_tables(psi - side, cleared, sight)) for side in sides]
    sound, cracked = (
        np.stack([(up[i] - down[i]) / (2 * TABLE_DIFFERENCE) for up, down in ends]) for i in range(2)
    )
    return sound, cracked


def tails(tilt: Floats, layout: Layout, block: Block) -> Floats:
    """Return by rate the sums Q of `tilt` (R2, codes) from each row on (R2, depth, copies)."""
    q = np.take(tilt, block.codes(layout.code), axis=1)
    for line in range(block.depth - 2, -1, -1):
        q[:, line] += q[:, line + 1]
    return q


def posterior(part: Part, weights: Weights, likelihood: Floats) -> tuple[Floats, Floats, Floats]:
    """Return by row the chance that the crack began just before it, and that chance times the slopes in a and b."""
    before = part.block.table(weights.after) / likelihood
    first = weights.first[part.block.places] / likelihood
    out = []
    for lines, at_new in ((part.survival, 1.0), (part.survival * part.hazard, 0.0)):
        out.append(_fallen(lines, at_new, before, first))
    out.append(_fallen(part.survival * part.hazard * part.y, 0.0, before, first))
    return out[0], out[1] * part.beta, -out[2]


def _fallen(lines: Floats, at_new: float, before: Floats, first: Floats) -> Floats:
    """Return how much `lines` fall from row to row, times the weight of the row before."""
    out = np.empty_like(lines)
    np.subtract(lines[:-1], lines[1:], out=out[1:])
    out[1:] *= before[:-1]
    np.subtract(at_new, lines[0], out=out[0])
    out[0] *= first
    return out


def rate_slopes(layout: Layout, weights: Weights, a: Floats, b: Floats, tilt: Floats) -> RateSlopes:
    """Return how d logL/da and d logL/db hang on the rates, and the covariance of the rates' own sums.

    `tilt` (R2, codes) is d(B - A) / d psi.
    """
    share = _shares(layout, weights, a, b)
    size = len(tilt)
    means, corner, beta = np.empty((3 * size + 2, len(layout.life))), np.zeros((size, size)), np.exp(b)
    for block in layout.blocks:
        part = Part.of(layout, block, a, beta)
        q = tails(tilt, layout, block)
        chance = _means(part, weights, q, out=means[:, block.places])
        corner += (q * (chance * share[block.places])).reshape(size, -1) @ q.reshape(size, -1).T
    by_life = over_lives(layout, layout.by_copy(means), layout.by_copy(share))
    mean, slope = by_life[:size], by_life[-2:]
    in_scale, in_shape = by_life[size : 2 * size] - mean * slope[0], by_life[2 * size : 3 * size] - mean * slope[1]
    return RateSlopes(in_scale, in_shape, corner - mean @ mean.T)


def _means(part: Part, weights: Weights, q: Floats, *, out: Floats) -> Floats:
    """Put E Q, E gQ in a, E gQ in b and E g by copy in `out`; return by row the chance that the crack began there."""
    size, late = len(q), part.block.late_count
    likelihood = part.whole_likelihood(weights)
    lines = posterior(part, weights, likelihood)
    for place, mass in enumerate(lines):
        out[place * size : (place + 1) * size] = (q * mass).sum(axis=1)
    out[-2:] = part.slopes(weights, likelihood)
    if late:  # its chance to be there is no matter of the looks
        for place, slope in enumerate(part.entry_slopes(weights.cleared), start=1):
            out[place * size : (place + 1) * size, :late] -= slope * out[:size, :late]
    return lines[0]


def _shares(layout: Layout, weights: Weights, a: Floats, b: Floats) -> Floats:
    """Return by place the share of its life that each copy has after the looks."""
    if not layout.has_copies:
        return np.ones(len(layout.life))
    return layout.by_place(shares_of(layout, log_likelihoods(layout, weights, a, b))[1])
