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
LOWEST_Y, HIGHEST_Y = -700.0, 6.6  # exp(-exp(6.6)) is nothing already; higher would overflow
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
    """By life: log-likelihood, its derivatives in ln scale a and ln shape b; in all: looks at and years with cracks."""

    ll: Floats
    da: Floats
    db: Floats
    haa: Floats
    hab: Floats
    hbb: Floats
    cracked_by_code: Floats
    cracked_years: float  # years in service with a crack, all lives together (0 where their ends are not told)


def weigh(layout: Layout, tables: tuple[Floats, Floats], cleared: float, failure_rate: float = 0.0) -> Weights:
    """Return the weights of every row for the log chances of `tables` (sound, cracked by code).

    `failure_rate` is how often in a year a cracked part fails: that it did not speaks against an old crack.
    """
    rows, copies = len(layout.code), len(layout.row_starts)
    after, change = np.empty(rows), np.empty(rows)
    first, last, peak = np.empty(copies), np.empty(copies), np.empty(copies)
    for chunk in layout.chunks:
        r, c = chunk.rows, chunk.copies
        after[r], change[r], first[c], last[c], peak[c] = _chunk_weights(layout, tables, chunk, failure_rate)
    return Weights(after, change, first, last, peak, min(cleared, MOST_CLEARED))


def _chunk_weights(
    layout: Layout, tables: tuple[Floats, Floats], chunk: Chunk, failure_rate: float
) -> tuple[Floats, ...]:
    """Return w and c by row, w_0, w_n and log scale by copy: all B first, then one B after another becomes its A."""
    code = layout.code[chunk.rows]
    counts = layout.row_counts[chunk.copies]
    starts = layout.row_starts[chunk.copies] - chunk.rows.start
    cracked = tables[1][code]
    if failure_rate:
        cracked -= failure_rate * layout.gap[chunk.rows]
    step = tables[0][code] - cracked
    total = np.add.reduceat(cracked, starts)
    run = np.cumsum(step)
    log_w = run - np.repeat(run[starts] - step[starts] - total, counts)
    top = np.maximum(np.maximum.reduceat(log_w, starts), total)
    w = np.exp(log_w - np.repeat(top, counts))
    w0 = np.exp(total - top)
    return w, w - _shifted(w, starts, w0), w0, w[starts + counts - 1], top


def _shifted(rows: Floats, starts: Ints, first: Floats | float) -> Floats:
    """Return the value of the row before each row, `first` at the first row of a copy."""
    before = np.empty_like(rows)
    before[1:] = rows[:-1]
    before[starts] = first
    return before


@dataclass(frozen=True, slots=True)
class _Part:
    """One chunk at one set of parameters: hazards by row, shape by copy, and where its copies' rows start."""

    chunk: Chunk
    starts: Ints
    counts: Ints
    y: Floats
    hazard: Floats
    beta: Floats

    @classmethod
    def of(cls, layout: Layout, chunk: Chunk, a: Floats, b: Floats) -> _Part:
        life = layout.copy_life[chunk.copies]
        counts = layout.row_counts[chunk.copies]
        beta = np.exp(b[life])
        y = layout.log_age[chunk.rows] - np.repeat(a[life], counts)
        y *= np.repeat(beta, counts)
        np.clip(y, LOWEST_Y, HIGHEST_Y, out=y)
        return cls(chunk, layout.row_starts[chunk.copies] - chunk.rows.start, counts, y, np.exp(y), beta)

    def likelihood(self, weights: Weights, sums: Floats) -> Floats:
        """Return L of each copy from its sum of c S, or summed the other way where that would cancel."""
        likelihood = weights.first[self.chunk.copies] + sums
        young = np.flatnonzero(self.hazard[self.starts + self.counts - 1] < YOUNG)
        if len(young):
            counts = self.counts[young]
            starts = np.cumsum(counts) - counts
            rows = np.arange(counts.sum()) + np.repeat(self.starts[young] - starts, counts)
            change = weights.change[self.chunk.rows][rows]
            failed = np.add.reduceat(change * np.expm1(-self.hazard[rows]), starts)
            likelihood[young] = weights.last[self.chunk.copies][young] + failed
        return np.maximum(likelihood, LEAST_LIKELIHOOD)


def log_likelihoods(layout: Layout, weights: Weights, a: Floats, b: Floats) -> Floats:
    """Return the log-likelihood of each copy, its prior weight included (c,), for ln scale and ln shape by life."""
    out = np.empty(len(layout.row_starts))
    for chunk in layout.chunks:
        part = _Part.of(layout, chunk, a, b)
        sums = np.add.reduceat(weights.change[chunk.rows] * np.exp(-part.hazard), part.starts)
        out[chunk.copies] = np.log(part.likelihood(weights, sums)) + weights.peak[chunk.copies]
    out[layout.late] -= np.log(at_entry(layout, weights.cleared, a, b)[0])
    return out + layout.copy_log_weight


def joined(layout: Layout, by_copy: Floats) -> Floats:
    """Return by life the log of the sum over its copies of exp(by_copy)."""
    if not layout.has_copies:
        return by_copy
    return np.asarray(np.logaddexp.reduceat(by_copy, layout.copy_starts))


def pass_over(layout: Layout, weights: Weights, a: Floats, b: Floats, *, curved: bool = True) -> Terms:
    """Return all terms for ln scale and ln shape by life; the second derivatives mean nothing if not `curved`."""
    six = np.empty((6, len(layout.copy_counts)))
    cracked, years = np.zeros(layout.code_count), 0.0
    late = _late_terms(layout, weights.cleared, a, b)
    for chunk in layout.chunks:
        part = _Part.of(layout, chunk, a, b)
        survival = np.exp(-part.hazard)
        terms, per_copy = _copy_terms(part, weights, survival, curved)
        terms[0] += weights.peak[chunk.copies] + layout.copy_log_weight[chunk.copies]
        lo, hi = np.searchsorted(layout.late, [chunk.copies.start, chunk.copies.stop])
        terms[:, layout.late[lo:hi] - chunk.copies.start] -= late[:, lo:hi]
        six[:, chunk.lives], share = _over_copies(layout, chunk, terms)
        at_crack = _cracked(part, weights, survival, share * per_copy)
        cracked += np.bincount(layout.code[chunk.rows], at_crack, minlength=len(cracked))
        years += float(at_crack @ layout.gap[chunk.rows])
    ll, da, db, haa, hab, hbb = six
    return Terms(ll, da, db, haa, hab, hbb, cracked, years)


def _copy_terms(part: _Part, weights: Weights, survival: Floats, curved: bool) -> tuple[Floats, Floats]:
    """Return by copy the six terms (6, c) and 1 / L."""
    sums = _six_sums(weights.change[part.chunk.rows] * survival, part, curved)
    likelihood = part.likelihood(weights, sums[0])
    return _derivatives(sums, likelihood, part.beta), 1.0 / likelihood


def _six_sums(v: Floats, part: _Part, curved: bool) -> Floats:
    """Return by copy the sums of v, vH, vHy, vH(H-1), vH(H-1)y, vH(H-1)y^2 (the last three 0 if not `curved`)."""
    rows = np.empty((6 if curved else 3, len(v)))
    rows[0] = v
    np.multiply(v, part.hazard, out=rows[1])
    np.multiply(rows[1], part.y, out=rows[2])
    if not curved:
        sums = np.add.reduceat(rows, part.starts, axis=1)
        return np.concatenate([sums, np.zeros_like(sums)])
    np.multiply(rows[1], part.hazard - 1.0, out=rows[3])
    np.multiply(rows[3], part.y, out=rows[4])
    np.multiply(rows[4], part.y, out=rows[5])
    return np.add.reduceat(rows, part.starts, axis=1)


def _derivatives(sums: Floats, likelihood: Floats, beta: Floats) -> Floats:
    """Return log L, its gradient and Hessian in (a, b) from the six sums."""
    _, x1, x2, q1, q2, q3 = sums / likelihood
    da, db = beta * x1, -x2
    haa = beta**2 * q1 - da**2
    hab = -beta * (q2 - x1) - da * db
    hbb = q3 - x2 - db**2
    return np.stack([np.log(likelihood), da, db, haa, hab, hbb])


def at_entry(layout: Layout, cleared: float, a: Floats, b: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return, of late copies, their chance to be there at entry, 1 - rho + rho S, and v = rho S, H and y there."""
    life = layout.copy_life[layout.late]
    y = np.clip(np.exp(b[life]) * (layout.late_log_entry - a[life]), LOWEST_Y, HIGHEST_Y)
    hazard = np.exp(y)
    v = cleared * np.exp(-hazard)
    return 1.0 - cleared + v, v, hazard, y


def _late_terms(layout: Layout, cleared: float, a: Floats, b: Floats) -> Floats:
    """Return, of late copies, the log chance to be there at entry and its derivatives, to be taken off."""
    there, v, hazard, y = at_entry(layout, cleared, a, b)
    sums = np.stack([v, v * hazard, v * hazard * y, *(v * hazard * (hazard - 1.0) * y**k for k in range(3))])
    return _derivatives(sums, there, np.exp(b[layout.copy_life[layout.late]]))


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


def _cracked(part: _Part, weights: Weights, survival: Floats, per_copy: Floats) -> Floats:
    """Return by row the chance of a crack at that look given the whole history, times `per_copy` L."""
    rows = part.chunk.rows
    mass = (weights.after[rows] - weights.change[rows]) * (_shifted(survival, part.starts, 1.0) - survival)
    mass *= np.repeat(per_copy, part.counts)  # before summing: an unlikely history would drown in the others' sums
    run = np.cumsum(mass)
    return np.asarray(run - np.repeat(run[part.starts] - mass[part.starts], part.counts))
