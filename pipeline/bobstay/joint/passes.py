"""One pass over the looks: log-likelihood of each life, its derivatives in a and b, and expected looks at cracks.

With w_j the weight of a history if the crack began between looks j and j + 1, and c_j = w_j - w_{j-1},
L = sum_j c_j S(t_j); its derivatives come from five sums over the looks of v = c S times powers of H and y = ln H.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Floats, Ints
from bobstay.joint.layout import Chunk, Layout
from bobstay.joint.rates import MOST_CLEARED

YOUNG = 0.01  # below this cumulative hazard 1 - S is summed instead of S, which would cancel
HIGHEST_Y = 6.6  # exp(-exp(6.6)) is nothing already; higher would overflow
LEAST_LIKELIHOOD = 1e-300


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of the looks for one set of rates, scaled by each copy's largest (whose log is `peak`)."""

    after: Floats  # w_j by row
    change: Floats  # c_j by row
    first: Floats  # w_0 by copy
    last: Floats  # w_n by copy
    peak: Floats
    cleared: float


@dataclass(frozen=True, slots=True)
class Terms:
    """By life: log-likelihood and its derivatives in ln scale a and ln shape b; by code: expected looks at cracks."""

    ll: Floats
    da: Floats
    db: Floats
    haa: Floats
    hab: Floats
    hbb: Floats
    cracked_by_code: Floats


def weigh(layout: Layout, tables: tuple[Floats, Floats], cleared: float) -> Weights:
    """Return the weights of every row for the log chances of `tables` (sound, cracked by code)."""
    rows, copies = len(layout.code), len(layout.row_starts)
    after, change = np.empty(rows), np.empty(rows)
    first, last, peak = np.empty(copies), np.empty(copies), np.empty(copies)
    for chunk in layout.chunks:
        _weigh_chunk(layout, tables, chunk, after, change, first, last, peak)
    return Weights(after, change, first, last, peak, min(cleared, MOST_CLEARED))


def _weigh_chunk(
    layout: Layout,
    tables: tuple[Floats, Floats],
    chunk: Chunk,
    after: Floats,
    change: Floats,
    first: Floats,
    last: Floats,
    peak: Floats,
) -> None:
    """Fill in the weights of one chunk: all B first, then one B after another is exchanged for its A."""
    code = layout.code[chunk.rows]
    counts = layout.row_counts[chunk.copies]
    starts = layout.row_starts[chunk.copies] - chunk.rows.start
    cracked = tables[1][code]
    step = tables[0][code] - cracked
    total = np.add.reduceat(cracked, starts)
    run = np.cumsum(step)
    log_w = run - np.repeat(run[starts] - step[starts] - total, counts)
    top = np.maximum(np.maximum.reduceat(log_w, starts), total)
    w = np.exp(log_w - np.repeat(top, counts))
    w0 = np.exp(total - top)
    before = np.empty_like(w)
    before[1:] = w[:-1]
    before[starts] = w0
    after[chunk.rows], change[chunk.rows] = w, w - before
    first[chunk.copies], last[chunk.copies], peak[chunk.copies] = w0, w[starts + counts - 1], top


def log_likelihoods(layout: Layout, weights: Weights, a: Floats, b: Floats) -> Floats:
    """Return the log-likelihood of each copy, its prior weight included (c,), for ln scale and ln shape by life."""
    out = np.empty(len(layout.row_starts))
    for chunk in layout.chunks:
        y, hazard = _hazard(layout, chunk, a, b)
        survived = weights.change[chunk.rows] * np.exp(-hazard)
        starts = layout.row_starts[chunk.copies] - chunk.rows.start
        sums = np.add.reduceat(survived, starts)
        out[chunk.copies] = np.log(_likelihood(layout, weights, chunk, hazard, sums)) + weights.peak[chunk.copies]
    out[layout.late] -= np.log(at_entry(layout, weights, a, b, slice(None))[0])
    return out + layout.copy_log_weight


def joined(layout: Layout, by_copy: Floats) -> Floats:
    """Return by life the log of the sum over its copies of exp(by_copy)."""
    if not layout.has_copies:
        return by_copy
    return np.logaddexp.reduceat(by_copy, layout.copy_starts)


def pass_over(layout: Layout, weights: Weights, a: Floats, b: Floats) -> Terms:
    """Return all terms for ln scale and ln shape by life."""
    lives = len(layout.copy_counts)
    six = np.empty((6, lives))
    cracked = np.zeros(layout.code_count)
    for chunk in layout.chunks:
        six[:, chunk.lives] = _chunk_terms(layout, weights, a, b, chunk, cracked)
    return Terms(*six, cracked_by_code=cracked)


def _hazard(layout: Layout, chunk: Chunk, a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return y = ln H and H of the chunk's rows."""
    life = layout.copy_life[chunk.copies]
    counts = layout.row_counts[chunk.copies]
    y = layout.log_age[chunk.rows] - np.repeat(a[life], counts)
    y *= np.repeat(np.exp(b[life]), counts)
    np.clip(y, -700.0, HIGHEST_Y, out=y)
    return y, np.exp(y)


def _likelihood(layout: Layout, weights: Weights, chunk: Chunk, hazard: Floats, sums: Floats) -> Floats:
    """Return L of each copy, summed the way that does not cancel."""
    starts = layout.row_starts[chunk.copies] - chunk.rows.start
    ends = starts + layout.row_counts[chunk.copies] - 1
    likelihood = weights.first[chunk.copies] + sums
    if (young := hazard[ends] < YOUNG).any():
        failed = np.add.reduceat(weights.change[chunk.rows] * np.expm1(-hazard), starts)
        likelihood = np.where(young, weights.last[chunk.copies] + failed, likelihood)
    return np.maximum(likelihood, LEAST_LIKELIHOOD)


def _chunk_terms(layout: Layout, weights: Weights, a: Floats, b: Floats, chunk: Chunk, cracked: Floats) -> Floats:
    """Return the six terms of the chunk's lives and add its expected looks at cracks to `cracked`."""
    y, hazard = _hazard(layout, chunk, a, b)
    survival = np.exp(-hazard)
    starts = layout.row_starts[chunk.copies] - chunk.rows.start
    sums = _six_sums(weights.change[chunk.rows] * survival, hazard, y, starts)
    likelihood = _likelihood(layout, weights, chunk, hazard, sums[0])
    beta = np.exp(b[layout.copy_life[chunk.copies]])
    terms = _derivatives(sums, likelihood, beta)
    terms[0] += weights.peak[chunk.copies] + layout.copy_log_weight[chunk.copies]
    _take_off_late(layout, weights, a, b, chunk, terms)
    by_life, share = _over_copies(layout, chunk, terms)
    _count_cracked(layout, weights, chunk, survival, share / likelihood, cracked)
    return by_life


def _six_sums(v: Floats, hazard: Floats, y: Floats, starts: Ints) -> Floats:
    """Return by copy the sums of v, vH, vHy, vH(H-1), vH(H-1)y, vH(H-1)y^2."""
    rows = np.empty((6, len(v)))
    rows[0] = v
    np.multiply(v, hazard, out=rows[1])
    np.multiply(rows[1], y, out=rows[2])
    np.multiply(rows[1], hazard - 1.0, out=rows[3])
    np.multiply(rows[3], y, out=rows[4])
    np.multiply(rows[4], y, out=rows[5])
    return np.add.reduceat(rows, starts, axis=1)


def _derivatives(sums: Floats, likelihood: Floats, beta: Floats) -> Floats:
    """Return log L, its gradient and Hessian in (a, b) from the six sums."""
    _, x1, x2, q1, q2, q3 = sums / likelihood
    da, db = beta * x1, -x2
    haa = beta**2 * q1 - da**2
    hab = -beta * (q2 - x1) - da * db
    hbb = q3 - x2 - db**2
    return np.stack([np.log(likelihood), da, db, haa, hab, hbb])


def at_entry(
    layout: Layout, weights: Weights, a: Floats, b: Floats, part: slice
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return, of some late copies, their chance to be there at entry, and v, H and y there."""
    life = layout.copy_life[layout.late[part]]
    y = np.clip(np.exp(b[life]) * (layout.late_log_entry[part] - a[life]), -700.0, HIGHEST_Y)
    hazard = np.exp(y)
    v = weights.cleared * np.exp(-hazard)
    return 1.0 - weights.cleared + v, v, hazard, y


def _take_off_late(layout: Layout, weights: Weights, a: Floats, b: Floats, chunk: Chunk, terms: Floats) -> None:
    """Condition late joiners on being there at entry: take log(1 - rho + rho S(entry)) off their terms."""
    lo, hi = np.searchsorted(layout.late, [chunk.copies.start, chunk.copies.stop])
    if lo == hi:
        return
    there, v, hazard, y = at_entry(layout, weights, a, b, slice(lo, hi))
    sums = np.stack([v, v * hazard, v * hazard * y, *(v * hazard * (hazard - 1.0) * y**k for k in range(3))])
    copies = layout.late[lo:hi]
    beta = np.exp(b[layout.copy_life[copies]])
    terms[:, copies - chunk.copies.start] -= _derivatives(sums, there, beta)


def _over_copies(layout: Layout, chunk: Chunk, terms: Floats) -> tuple[Floats, Floats]:
    """Return the terms by life, and the share of its life each copy has after the looks."""
    if not layout.has_copies:
        return terms, np.ones(terms.shape[1])
    starts = layout.copy_starts[chunk.lives] - chunk.copies.start
    counts = layout.copy_counts[chunk.lives]
    ll, da, db, haa, hab, hbb = terms
    together = np.logaddexp.reduceat(ll, starts)
    share = np.exp(ll - np.repeat(together, counts))
    rows = share * np.stack([da, db, haa + da**2, hab + da * db, hbb + db**2])
    ga, gb, saa, sab, sbb = np.add.reduceat(rows, starts, axis=1)
    return np.stack([together, ga, gb, saa - ga**2, sab - ga * gb, sbb - gb**2]), share


def _count_cracked(
    layout: Layout, weights: Weights, chunk: Chunk, survival: Floats, per_copy: Floats, cracked: Floats
) -> None:
    """Add to `cracked`, by code, the chance of a crack at each look given the whole history."""
    counts = layout.row_counts[chunk.copies]
    starts = layout.row_starts[chunk.copies] - chunk.rows.start
    before = np.empty_like(survival)
    before[1:] = survival[:-1]
    before[starts] = 1.0
    mass = (weights.after[chunk.rows] - weights.change[chunk.rows]) * (before - survival)
    run = np.cumsum(mass)
    chance = (run - np.repeat(run[starts] - mass[starts], counts)) * np.repeat(per_copy, counts)
    cracked += np.bincount(layout.code[chunk.rows], chance, minlength=len(cracked))
