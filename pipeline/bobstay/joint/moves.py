"""Where ln scale and ln shape of a life are likeliest to move when its chance is one standard deviation off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.draws import full_covariance
from bobstay.joint.fleet import Fleet, Floats, Ints
from bobstay.joint.polish import Estimated

LIVES_AT_ONCE = 16_384
LEAST_VARIANCE = 1e-24


@dataclass(frozen=True, slots=True)
class Slopes:
    """Slopes by life: in ln scale (n,), in ln shape (n,) and in the logit rates (2R or 0, n)."""

    scale: Floats
    shape: Floats
    rates: Floats


@dataclass(frozen=True, slots=True)
class Moves:
    """By life, for one standard deviation of c: what ln scale and ln shape move, and the rest, which the rates add."""

    scale: Floats
    shape: Floats
    rates: Floats


@dataclass(frozen=True, slots=True)
class _Covariances:
    """Covariances of what ln scale s and ln shape t of a life are made of: class k, boat g, covariates x, rates r.

    s = class k - boat g + x, t = class k; a life's own are sums of these, so no life needs all coefficients.
    """

    classes: Floats  # (K,) var of s, of t and cov (3, K)
    class_boat: Floats  # (2, K, G) of s and t with the boat's part
    boats: Floats  # (G,)
    small: Floats  # (q + R, q + R) of covariates and rates
    scale_small: Floats  # (K, q + R)
    shape_small: Floats
    boat_small: Floats  # (G, q + R)
    boat_own: Floats  # (G,) variance of the boat's own effect, given all coefficients

    @classmethod
    def of(cls, estimated: Estimated) -> _Covariances:
        design, spread = estimated.model.design, full_covariance(estimated)
        wide = ((0, 0), (0, len(spread) - design.size))
        scale, shape = (np.pad(rows, wide) for rows in (design.scale_rows, design.shape_rows))
        boats = estimated.model.fleet.boat_count
        has_boats = bool(len(estimated.boat))
        boat = estimated.cross / estimated.boat[:, None] if has_boats else np.zeros((boats, len(spread)))
        small = np.r_[np.arange(design.size)[design.covariates], design.size : len(spread)]
        with_scale, with_shape, with_boat = scale @ spread, shape @ spread, boat @ spread
        return cls(
            classes=np.stack([(with_scale * scale).sum(1), (with_shape * shape).sum(1), (with_scale * shape).sum(1)]),
            class_boat=np.stack([with_scale @ boat.T, with_shape @ boat.T]),
            boats=(with_boat * boat).sum(1),
            small=spread[np.ix_(small, small)],
            scale_small=with_scale[:, small],
            shape_small=with_shape[:, small],
            boat_small=with_boat[:, small],
            boat_own=1.0 / estimated.boat if has_boats else np.zeros(boats),
        )


def moves_of(estimated: Estimated, fleet: Fleet, slopes: Slopes) -> Moves:
    """Return Cov(ln scale, c) / sd c, Cov(ln shape, c) / sd c, and what of sd c remains, for each life.

    ln scale moves with the coefficients as x - C_g / d_g, and by N(0, 1 / d_g) of its own boat.
    """
    out, known = np.empty((3, fleet.life_count)), _Covariances.of(estimated)
    for lo in range(0, fleet.life_count, LIVES_AT_ONCE):
        part = slice(lo, lo + LIVES_AT_ONCE)
        own = Slopes(slopes.scale[part], slopes.shape[part], slopes.rates[:, part])
        out[:, part] = _moves(known, (fleet.class_index[part], fleet.boat_index[part]), fleet.covariates[part], own)
    return Moves(*out)


def _moves(known: _Covariances, at: tuple[Ints, Ints], x: Floats, slopes: Slopes) -> Floats:
    """Return the three moves of some lives (3, n)."""
    (k, g), q, rates = at, x.shape[1], slopes.rates.T
    to_small = known.scale_small[k] - known.boat_small[g]
    with_x = x @ known.small[:q]
    scale_scale = known.classes[0, k] - 2.0 * known.class_boat[0, k, g] + known.boats[g]
    scale_scale += _dot(x, 2.0 * to_small[:, :q] + with_x[:, :q]) + known.boat_own[g]
    scale_shape = known.classes[2, k] - known.class_boat[1, k, g] + _dot(x, known.shape_small[k, :q])
    with_rates = _dot(rates, to_small[:, q:] + with_x[:, q:]), _dot(rates, known.shape_small[k, q:])
    in_scale = slopes.scale * scale_scale + slopes.shape * scale_shape + with_rates[0]
    in_shape = slopes.scale * scale_shape + slopes.shape * known.classes[1, k] + with_rates[1]
    variance = slopes.scale * (in_scale + with_rates[0]) + slopes.shape * (in_shape + with_rates[1])
    sd = np.sqrt(np.maximum(variance + _dot(rates @ known.small[q:, q:], rates), LEAST_VARIANCE))
    rest = sd - (slopes.scale * in_scale + slopes.shape * in_shape) / sd
    return np.stack([in_scale / sd, in_shape / sd, rest])


def _dot(left: Floats, right: Floats) -> Floats:
    return np.asarray(np.einsum("ni,ni->n", left, right))
