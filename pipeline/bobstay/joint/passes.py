"""One pass over the looks: log-likelihood of each life, its derivatives in a and b, and expected looks at cracks.

With w_j the weight of a history if the crack began between looks j and j + 1, and c_j = w_j - w_{j-1},
L = sum_j c_j S(t_j); its derivatives come from five sums over the looks of v = c S times powers of H and y = ln H.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Floats
from bobstay.joint.layout import Block, Layout
from bobstay.joint.rates import MOST_CLEARED

YOUNG = 0.01  # below this cumulative hazard 1 - S is summed instead of S, which would cancel
HIGHEST_Y = 6.6  # exp(-exp(6.6)) is nothing already; higher would overflow
LEAST_LIKELIHOOD = 1e-300


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of the looks for one set of rates, scaled by each copy's largest (whose log is `peak`)."""

    after: Floats  # w_j by row
    change: Floats  # c_j by row
    first: Floats  # w_0 by copy, in the layout's order
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


def weigh(layout: Layout, tables: tuple[Floats, Floats], cleared: float, excess: float = 0.0) -> Weights:
    """Return the weights of every row for the log chances of `tables` (sound, cracked by code).

    `excess` is how much more often in a year a cracked part fails or is suspected: that it was not speaks against an
    old crack.
    """
    rows, copies = len(layout.code), len(layout.life)
    after, change = np.empty(rows), np.empty(rows)
    first, last, peak = np.empty(copies), np.empty(copies), np.empty(copies)
    for block in layout.blocks:
        log_w, total = _log_weights(layout, tables, block, excess)
        top = np.maximum(log_w.max(axis=0), total)
        log_w -= top
        w, c = block.table(after), block.table(change)
        np.exp(log_w, out=w)
        w0 = np.exp(total - top)
        np.subtract(w[0], w0, out=c[0])
        np.subtract(w[1:], w[:-1], out=c[1:])
        first[block.places], last[block.places], peak[block.places] = w0, w[-1], top
    return Weights(after, change, first, last, peak, min(cleared, MOST_CLEARED))


def _log_weights(layout: Layout, tables: tuple[Floats, Floats], block: Block, excess: float) -> tuple[Floats, Floats]:
    """Return ln w by row and ln w_0 by copy: all B first, then one B after another becomes its A."""
    code = block.codes(layout.code)
    cracked = np.take(tables[1], code)
    if excess:
        cracked -= excess * block.table(layout.gap)
    total = cracked.sum(axis=0)
    log_w = np.take(tables[0], code)
    log_w -= cracked
    log_w[0] += total
    return run(log_w), total


def run(lines: Floats) -> Floats:
    """Sum lines one after another in place (what cumsum does, which is slow along this axis)."""
    for line in range(1, len(lines)):
        lines[line] += lines[line - 1]
    return lines


@dataclass(frozen=True, slots=True)
class Part:
    """One block at one set of parameters: H, y = ln H and S by row, shape by copy."""

    block: Block
    y: Floats
    hazard: Floats
    survival: Floats
    beta: Floats

    @classmethod
    def of(cls, layout: Layout, block: Block, a: Floats, beta: Floats) -> Part:
        """Work out H, y and S of a block for ln scale by life and shape by life."""
        life = layout.life[block.places]
        own = beta[life]
        y = block.table(layout.log_age) - a[life]
        y *= own
        np.minimum(y, HIGHEST_Y, out=y)
        hazard = np.exp(y)
        survival = np.negative(hazard)
        np.exp(survival, out=survival)
        return cls(block, y, hazard, survival, own)

    def likelihood(self, weights: Weights, sums: Floats) -> Floats:
        """Return L of each copy from its sum of c S, or summed the other way where that would cancel."""
        places = self.block.places
        likelihood = weights.first[places] + sums
        young = np.flatnonzero(self.hazard[-1] < YOUNG)
        if len(young):
            failed = np.expm1(-self.hazard[:, young])
            failed *= self.block.table(weights.change)[:, young]
            likelihood[young] = weights.last[places][young] + failed.sum(axis=0)
        return np.maximum(likelihood, LEAST_LIKELIHOOD)

    def whole_likelihood(self, weights: Weights) -> Floats:
        """Return L of each copy."""
        return self.likelihood(weights, (self.block.table(weights.change) * self.survival).sum(axis=0))

    def slopes(self, weights: Weights, likelihood: Floats) -> Floats:
        """Return by copy the slopes of ln L in a and b (2, c), a late joiner's less those of its chance to be there."""
        x1, x2 = _sums(self.block.table(weights.change) * self.survival, self)
        out = np.stack([self.beta * x1, -x2]) / likelihood
        out[:, : self.block.late_count] -= self.entry_slopes(weights.cleared)
        return out

    def sound_by(self, weights: Weights, log_ratio: Floats) -> Floats:
        """Return by copy ln of its history and no crack by an age (ln age - a given), and its slopes in a and b (3, c).

        What a late joiner's chance to be there takes off is left to the caller.
        """
        y = np.minimum(self.beta * log_ratio, HIGHEST_Y)
        hazard = np.exp(y)
        kept = np.log(np.maximum(weights.last[self.block.places], LEAST_LIKELIHOOD))
        return np.stack([kept - hazard, self.beta * hazard, -hazard * y])

    def entry_slopes(self, cleared: float) -> Floats:
        """Return, of late copies, the slopes in a and b of ln of the chance to be there at entry (2, late)."""
        late = slice(0, self.block.late_count)
        there, v = self.at_entry(cleared)
        per_hazard = v * self.hazard[0, late] / there
        return np.stack([self.beta[late] * per_hazard, -per_hazard * self.y[0, late]])

    def at_entry(self, cleared: float) -> tuple[Floats, Floats]:
        """Return, of late copies, the chance to be there at entry, 1 - rho + rho S, and v = rho S: their first row."""
        v = cleared * self.survival[0, : self.block.late_count]
        return 1.0 - cleared + v, v


def _sums(v: Floats, part: Part) -> tuple[Floats, Floats]:
    """Return by copy the sums of vH and vHy; `v` is spent."""
    v *= part.hazard
    x1 = v.sum(axis=0)
    v *= part.y
    return x1, v.sum(axis=0)


def log_likelihoods(layout: Layout, weights: Weights, a: Floats, b: Floats) -> Floats:
    """Return the log-likelihood of each copy, its prior weight included (c,), for ln scale and ln shape by life."""
    return np.asarray(log_histories(layout, weights, a, b)[0])


def log_histories(layout: Layout, weights: Weights, a: Floats, b: Floats, *, log_age: Floats | None = None) -> Floats:
    """Return by copy (2, c) the log-likelihood of its history, and of its history and no crack by `log_age` (c,).

    Prior weights are included; without `log_age` the second means nothing.
    """
    out, beta = np.empty((2, len(layout.life))), np.exp(b)
    by = np.zeros(len(layout.life)) if log_age is None else layout.by_place(log_age)
    for block in layout.blocks:
        places, late = block.places, block.late_count
        part = Part.of(layout, block, a, beta)
        out[0, places] = np.log(part.whole_likelihood(weights))
        if log_age is not None:
            out[1, places] = part.sound_by(weights, by[places] - a[layout.life[places]])[0]
        if late:
            out[:, places][:, :late] -= np.log(part.at_entry(weights.cleared)[0])
    out += weights.peak + layout.log_weight
    return layout.by_copy(out)


def joined(layout: Layout, by_copy: Floats) -> Floats:
    """Return by life the log of the sum over its copies of exp(by_copy)."""
    if not layout.has_copies:
        return by_copy
    return np.asarray(np.logaddexp.reduceat(by_copy, layout.copy_starts))


def pass_over(layout: Layout, weights: Weights, a: Floats, b: Floats, *, curved: bool = True) -> Terms:
    """Return all terms for ln scale and ln shape by life; the second derivatives mean nothing if not `curved`."""
    six, beta = np.empty((6, len(layout.life))), np.exp(b)
    at_crack = np.empty(len(layout.code))
    for block in layout.blocks:
        part = Part.of(layout, block, a, beta)
        terms, per_copy = _copy_terms(part, weights, curved=curved)
        late = block.late_count
        if late:
            terms[:, :late] -= _late_terms(part, weights.cleared, curved=curved)
        six[:, block.places] = terms
        _cracked(part, weights, per_copy, out=block.table(at_crack))
    six[0] += weights.peak
    six[0] += layout.log_weight
    by_life, share = _over_copies(layout, layout.by_copy(six))
    if share is not None:
        for block in layout.blocks:
            block.table(at_crack)[...] *= share[block.places]
    cracked = np.bincount(layout.code, at_crack, minlength=layout.code_count).astype(float)
    ll, da, db, haa, hab, hbb = by_life
    return Terms(ll, da, db, haa, hab, hbb, cracked, float(at_crack @ layout.gap))


def _copy_terms(part: Part, weights: Weights, *, curved: bool) -> tuple[Floats, Floats]:
    """Return by copy the six terms (6, c) and 1 / L."""
    sums = _six_sums(part.block.table(weights.change) * part.survival, part.hazard, part.y, curved=curved)
    likelihood = part.likelihood(weights, sums[0])
    return _derivatives(sums, likelihood, part.beta), 1.0 / likelihood


def _six_sums(v: Floats, hazard: Floats, y: Floats, *, curved: bool) -> Floats:
    """Return by copy the sums of v, vH, vHy, vH(H-1), vH(H-1)y, vH(H-1)y^2 (the last three 0 if not `curved`)."""
    out = np.zeros((6, v.shape[1]))
    v.sum(axis=0, out=out[0])
    v *= hazard
    v.sum(axis=0, out=out[1])
    if not curved:
        v *= y
        v.sum(axis=0, out=out[2])
        return out
    less = hazard - 1.0
    less *= v  # vH(H-1)
    less.sum(axis=0, out=out[3])
    less *= y
    less.sum(axis=0, out=out[4])
    less *= y
    less.sum(axis=0, out=out[5])
    v *= y
    v.sum(axis=0, out=out[2])
    return out


def _derivatives(sums: Floats, likelihood: Floats, beta: Floats) -> Floats:
    """Return log L, its gradient and Hessian in (a, b) from the six sums."""
    _, x1, x2, q1, q2, q3 = sums / likelihood
    da, db = beta * x1, -x2
    haa = beta**2 * q1 - da**2
    hab = -beta * (q2 - x1) - da * db
    hbb = q3 - x2 - db**2
    return np.stack([np.log(likelihood), da, db, haa, hab, hbb])


def _late_terms(part: Part, cleared: float, *, curved: bool) -> Floats:
    """Return, of late copies, the log chance to be there at entry and its derivatives, to be taken off."""
    late = slice(0, part.block.late_count)
    there, v = part.at_entry(cleared)
    sums = _six_sums(v[None], part.hazard[:1, late], part.y[:1, late], curved=curved)
    return _derivatives(sums, there, part.beta[late])


def _over_copies(layout: Layout, terms: Floats) -> tuple[Floats, Floats | None]:
    """Return the terms by life, and the share of its life each copy has after the looks, in the layout's order."""
    if not layout.has_copies:
        return terms, None
    ll, da, db, haa, hab, hbb = terms
    together, share = shares_of(layout, ll)
    rows = np.stack([da, db, haa + da**2, hab + da * db, hbb + db**2])
    ga, gb, saa, sab, sbb = over_lives(layout, rows, share)
    return np.stack([together, ga, gb, saa - ga**2, sab - ga * gb, sbb - gb**2]), layout.by_place(share)


def shares_of(layout: Layout, by_copy: Floats) -> tuple[Floats, Floats]:
    """Return the log-likelihood by life, and by copy the share of its life it has after the looks."""
    together = np.logaddexp.reduceat(by_copy, layout.copy_starts)
    return together, np.exp(by_copy - np.repeat(together, layout.copy_counts))


def over_lives(layout: Layout, by_copy: Floats, share: Floats) -> Floats:
    """Return by life the mean of values by copy (last axis), weighed by their shares."""
    if not layout.has_copies:
        return by_copy
    return np.asarray(np.add.reduceat(share * by_copy, layout.copy_starts, axis=-1))


def _cracked(part: Part, weights: Weights, per_copy: Floats, *, out: Floats) -> None:
    """Put in `out`, by row, the chance of a crack at that look given the whole history, times `per_copy` L."""
    after, survival = part.block.table(weights.after), part.survival
    np.subtract(survival[:-1], survival[1:], out=out[1:])
    out[1:] *= after[:-1]
    np.subtract(1.0, survival[0], out=out[0])
    out[0] *= weights.first[part.block.places]
    out *= per_copy  # before summing: an unlikely history would drown in the others' sums
    run(out)
