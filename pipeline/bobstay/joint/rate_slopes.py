"""How the logit rates bear on everything else: their part of the Hessian, exactly, in one pass.

Given the onset's interval the log weight of a history is, up to a constant, the sum Q_r of (dB - dA) / d psi_r over the
looks from its crack on. By Louis (1982, from memory) the Hessian of the observed likelihood between psi_r and anything
else is the covariance of Q_r with that one's slope over the posterior of the interval, less the rates' own curvature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Fleet, Floats, Ints
from bobstay.joint.layout import Block, Layout
from bobstay.joint.passes import Part, Weights, over_lives, run, shares_of
from bobstay.joint.rates import code_tables

TABLE_DIFFERENCE = 1e-4  # on the logit scale; of some forty numbers, so that any table of rates will do


@dataclass(frozen=True, slots=True)
class RateSlopes:
    """Sums over lives of the slopes of d logL/da and d logL/db in the rates, and the covariance of the Q (R2, R2).

    In a by class (K, R2), covariate (q, R2) and boat (G, R2), in b by class.
    """

    class_scale: Floats
    class_shape: Floats
    covariates: Floats
    boats: Floats
    corner: Floats


def mean_slopes(up: RateSlopes, down: RateSlopes) -> RateSlopes:
    """Return the mean of two."""
    return RateSlopes(*(0.5 * (getattr(up, name) + getattr(down, name)) for name in RateSlopes.__slots__))


def table_slopes(psi: Floats, cleared: float, sight: Floats | None = None) -> tuple[Floats, Floats]:
    """Return dA / d psi and dB / d psi of every code (R2, codes), by central differences of the tables."""
    sides = TABLE_DIFFERENCE * np.eye(len(psi))
    ends = [(code_tables(psi + side, cleared, sight), code_tables(psi - side, cleared, sight)) for side in sides]
    sound, cracked = (np.stack([(up[i] - down[i]) / (2 * TABLE_DIFFERENCE) for up, down in ends]) for i in range(2))
    return sound, cracked


def tails(tilt: Floats, layout: Layout, block: Block) -> Floats:
    """Return by rate the sums Q of `tilt` (R2, codes) from each row on (R2, depth, copies)."""
    q = np.take(tilt, block.codes(layout.code), axis=1)
    for line in range(block.depth - 2, -1, -1):
        q[:, line] += q[:, line + 1]
    return q


def began(part: Part, weights: Weights, likelihood: Floats) -> Floats:
    """Return by row the chance that the crack began just before it."""
    return _fallen(part.survival, 1.0, *_weights_before(part, weights, likelihood))


def posterior(part: Part, weights: Weights, likelihood: Floats) -> tuple[Floats, Floats, Floats]:
    """Return by row the chance that the crack began just before it, and that chance times the slopes in a and b."""
    before, first = _weights_before(part, weights, likelihood)
    density = part.survival * part.hazard
    in_a = _fallen(density, 0.0, before, first) * part.beta
    return _fallen(part.survival, 1.0, before, first), in_a, -_fallen(density * part.y, 0.0, before, first)


def _weights_before(part: Part, weights: Weights, likelihood: Floats) -> tuple[Floats, Floats]:
    """Return over L the weight of a crack begun just after each row, and just after new."""
    return part.block.table(weights.after) / likelihood, weights.first[part.block.places] / likelihood


def _fallen(lines: Floats, at_new: float, before: Floats, first: Floats) -> Floats:
    """Return how much `lines` fall from row to row, times the weight of the row before."""
    out = np.empty_like(lines)
    np.subtract(lines[:-1], lines[1:], out=out[1:])
    out[1:] *= before[:-1]
    np.subtract(at_new, lines[0], out=out[0])
    out[0] *= first
    return out


def rate_slopes(fleet: Fleet, layout: Layout, weights: Weights, a: Floats, b: Floats, *, tilt: Floats) -> RateSlopes:
    """Return how the gradient hangs on the rates, and the covariance of the rates' own sums.

    `tilt` (R2, codes) is d(B - A) / d psi. The covariance of Q_r with a slope is the sum over the looks of tilt times
    the covariance of that slope with "there was a crack at the look": one number a look serves all rates.
    """
    size, beta = len(tilt), np.exp(b)
    rows = np.empty((2, len(layout.code)))
    means, corner = np.empty((size, len(layout.life))), np.zeros((size, size))
    whole = _whole_lives(layout, weights, a, b) if layout.has_copies else None
    for block in layout.blocks:
        part = Part.of(layout, block, a, beta)
        likelihood = part.whole_likelihood(weights)
        lines = posterior(part, weights, likelihood)
        q = tails(tilt, layout, block)
        means[:, block.places] = (q * lines[0]).sum(axis=1)
        share = np.ones(1) if whole is None else whole[0, block.places]
        corner += (q * (lines[0] * share)).reshape(size, -1) @ q.reshape(size, -1).T
        slopes = part.slopes(weights, likelihood) if whole is None else whole[1:, block.places]
        for place, covariance in enumerate(_with_cracked(part, weights, lines, slopes)):
            np.multiply(covariance, share, out=block.table(rows[place]))
    shares = np.ones(len(layout.life)) if whole is None else layout.by_copy(whole[0])
    mean = over_lives(layout, layout.by_copy(means), shares) if layout.has_copies else means
    return _summed(fleet, layout, rows, tilt, corner - mean @ mean.T)


def _with_cracked(
    part: Part, weights: Weights, lines: tuple[Floats, Floats, Floats], slopes: Floats
) -> tuple[Floats, Floats]:
    """Return by row the covariance of the slopes in a and b with there being a crack; `lines` are spent."""
    cracked, late = run(lines[0]), part.block.late_count
    off = slopes.copy()
    if late:  # a late joiner's slope has a part of its own that no look bears on
        off[:, :late] += part.entry_slopes(weights.cleared)
    return run(lines[1]) - cracked * off[0], run(lines[2]) - cracked * off[1]


def _whole_lives(layout: Layout, weights: Weights, a: Floats, b: Floats) -> Floats:
    """Return by place the share of its life that each copy has after the looks, and the slopes of the whole life."""
    by_copy, beta = np.empty((3, len(layout.life))), np.exp(b)
    for block in layout.blocks:
        part = Part.of(layout, block, a, beta)
        likelihood = part.whole_likelihood(weights)
        by_copy[0, block.places] = np.log(likelihood)
        by_copy[0, block.places][: block.late_count] -= np.log(part.at_entry(weights.cleared)[0])
        by_copy[1:, block.places] = part.slopes(weights, likelihood)
    by_copy[0] += weights.peak + layout.log_weight
    by_copy = layout.by_copy(by_copy)
    share = shares_of(layout, by_copy[0])[1]
    slopes = over_lives(layout, by_copy[1:], share)
    return layout.by_place(np.concatenate([share[None], np.repeat(slopes, layout.copy_counts, axis=1)]))


def _summed(fleet: Fleet, layout: Layout, rows: Floats, tilt: Floats, corner: Floats) -> RateSlopes:
    """Sum covariances by row over classes, boats and covariates, each look weighed by its tilt."""
    codes = layout.code_count
    x = np.zeros((fleet.covariates.shape[1], codes))
    by_class, by_boat = np.empty(len(layout.code), dtype=np.intp), np.empty(len(layout.code), dtype=np.intp)
    for block in layout.blocks:
        code, life, own = block.codes(layout.code), layout.life[block.places], block.table(rows[0])
        np.add(code, codes * fleet.class_index[life], out=block.codes(by_class))
        np.add(code, codes * fleet.boat_index[life], out=block.codes(by_boat))
        for place, column in enumerate(fleet.covariates[life].T):
            x[place] += np.bincount(code.ravel(), (own * column).ravel(), minlength=codes)

    def summed(by: Ints, values: Floats, count: int) -> Floats:
        table = np.bincount(by, values, minlength=count * codes).reshape(count, codes)
        return np.asarray(table @ tilt.T)

    return RateSlopes(
        class_scale=summed(by_class, rows[0], fleet.class_count),
        class_shape=summed(by_class, rows[1], fleet.class_count),
        covariates=x @ tilt.T,
        boats=summed(by_boat, rows[0], fleet.boat_count),
        corner=corner,
    )


def history_slopes(
    layout: Layout, weights: Weights, a: Floats, b: Floats, *, log_age: Floats, tables: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Return by life ln L and ln of the likelihood of its history and no crack by `log_age` (2, n), and their slopes.

    The slopes (2, 2 + R2, n) are in a, b and the rates, from `tables` (dA, dB by rate and code).
    """
    whole, sound = (np.empty((3 + len(tables[0]), len(layout.life))) for _ in range(2))
    by, beta = layout.by_place(log_age), np.exp(b)
    for block in layout.blocks:
        places, late = block.places, slice(block.places.start, block.places.start + block.late_count)
        part = Part.of(layout, block, a, beta)
        likelihood = part.whole_likelihood(weights)
        chance = began(part, weights, likelihood)
        if_sound = np.take(tables[0], block.codes(layout.code), axis=1).sum(axis=1)
        sound[3:, places] = if_sound
        whole[3:, places] = (tails(tables[1] - tables[0], layout, block) * chance).sum(axis=1) + if_sound
        whole[0, places], whole[1:3, places] = np.log(likelihood), part.slopes(weights, likelihood)
        sound[:3, places] = part.sound_by(weights, by[places] - a[layout.life[places]])
        for own in (whole, sound):
            own[0, late] -= np.log(part.at_entry(weights.cleared)[0])
        sound[1:3, late] -= part.entry_slopes(weights.cleared)
    found = []
    for own in (whole, sound):
        own[0] += weights.peak + layout.log_weight
        found.append(_by_life(layout, layout.by_copy(own)))
    return np.stack([one[0] for one in found]), np.stack([one[1:] for one in found])


def _by_life(layout: Layout, by_copy: Floats) -> Floats:
    """Return by life the log of the sum over its copies (first row) and the slopes of that (the others)."""
    if not layout.has_copies:
        return by_copy
    together, share = shares_of(layout, by_copy[0])
    return np.concatenate([together[None], over_lives(layout, by_copy[1:], share)])
