"""The chance of a crack in each life by an age, given its whole history, with the interval of that chance.

Parameters act nearly in a straight line on c = ln(-ln(1 - chance)), the log of the hazard gone through since the looks;
on the logit they do not, for chances near 1. Each end of an interval is the chance worked out anew where ln scale and
ln shape have moved, in the direction in which they are likeliest to, until c is so many standard deviations off.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from bobstay.joint.draws import full_covariance
from bobstay.joint.fleet import Fleet, Floats
from bobstay.joint.layout import LEAST_AGE
from bobstay.joint.model import Model
from bobstay.joint.passes import Weights, joined, log_histories, weigh
from bobstay.joint.polish import Estimated
from bobstay.joint.rates import code_tables, expit

SHIFT = 0.02  # differences in ln scale, ln shape and logit rates
LIVES_AT_ONCE = 50_000  # lives whose gradients are held together
LEAST_CHANCE = 1e-12
FARTHEST_LOGIT = 27.6  # of a chance of 1 - LEAST_CHANCE


@dataclass(frozen=True, slots=True)
class Chances:
    """By life: the chance of a crack by the age asked for, the ends of its interval, and a spread on the logit.

    `logit_sd` is half the width of the interval on the logit scale over the normal quantile of its cover.
    """

    chance: Floats
    lower: Floats
    upper: Floats
    logit_sd: Floats


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Slopes of c by life: in ln scale (n,), in ln shape (n,) and in the logit rates (n, 2R or 0)."""

    scale: Floats
    shape: Floats
    rates: Floats


@dataclass(frozen=True, slots=True)
class _Moves:
    """By life, for one standard deviation of c: what ln scale and ln shape move, and the rest, which the rates add."""

    scale: Floats
    shape: Floats
    rates: Floats


def chances(
    estimated: Estimated, fleet: Fleet, age_years: Floats, *, sight: Floats | None = None, interval: float = 0.9
) -> Chances:
    """Return 1 - w_n S(age) / L for each life of `fleet` by its age (n,), counted as its looks are.

    `fleet` has the classes, boats, covariates and detection rows of the estimate, but histories of its own; `sight` is
    as in `rates.code_tables` and bears on its hidden copies. Intervals of nominal cover `interval` are first-order
    (Hasofer and Lind 1974, from memory: the nearest point at which a limit is reached); they include the boat effect's
    spread and that of the standard deviations.
    """
    hazard, a, b, psi = _asked(estimated, fleet, age_years, sight)
    middle = hazard(a, b, psi)
    reach = float(ndtri((1.0 + interval) / 2))
    moves = _moves(estimated, fleet, _slopes(hazard, middle, (a, b, psi), _rate_count(estimated)))
    per_hazard = np.exp(middle) / _chance(middle)  # d logit(chance) / dc
    ends = []
    for side in (-reach, reach):
        there = hazard(a + side * moves.scale, b + side * moves.shape, psi)
        ends.append(_logit_of(there) + side * moves.rates * np.minimum(per_hazard, FARTHEST_LOGIT))
    centre = _logit_of(middle)
    lower, upper = np.minimum(ends[0], centre), np.maximum(ends[1], centre)
    lower, upper = (np.clip(end, -FARTHEST_LOGIT, FARTHEST_LOGIT) for end in (lower, upper))
    best = _chance(middle)
    return Chances(best, np.minimum(expit(lower), best), np.maximum(expit(upper), best), (upper - lower) / (2 * reach))


def chance_by(estimated: Estimated, fleet: Fleet, age_years: Floats, *, sight: Floats | None = None) -> Floats:
    """Return the chance as `chances` does, without its uncertainty."""
    hazard, a, b, psi = _asked(estimated, fleet, age_years, sight)
    return _chance(hazard(a, b, psi))


def _chance(log_hazard: Floats) -> Floats:
    return np.clip(-np.expm1(-np.exp(log_hazard)), LEAST_CHANCE, 1.0 - LEAST_CHANCE)


def _logit_of(log_hazard: Floats) -> Floats:
    """Return the logit of a chance from its c: ln(expm1(exp c)), without overflow."""
    hazard = np.exp(log_hazard)
    return np.asarray(hazard + np.log(-np.expm1(-hazard)))


def _weigh(model: Model, psi: Floats, sight: Floats | None) -> Weights:
    return weigh(model.layout, code_tables(psi, model.cleared, sight), model.cleared, model.failure_rate)


_LogHazard = Callable[[Floats, Floats, Floats], Floats]


def _asked(
    estimated: Estimated, fleet: Fleet, age_years: Floats, sight: Floats | None
) -> tuple[_LogHazard, Floats, Floats, Floats]:
    """Return c as a function, and ln scale, ln shape and logit rates of the estimate."""
    model = estimated.model.with_fleet(fleet)
    age = np.maximum(age_years[fleet.copy_life] + fleet.copy_shift, LEAST_AGE)
    return log_hazard_at(model, np.log(age), sight), *model.ab(estimated.point), estimated.point.psi


def log_hazard_at(model: Model, log_age: Floats, sight: Floats | None) -> _LogHazard:
    """Return c = ln(-ln(1 - chance)) as a function of ln scale, ln shape (by life) and logit rates."""

    last: list[tuple[bytes, Weights]] = []  # the weights hang on the rates alone

    def weights_at(psi: Floats) -> Weights:
        if not last or last[0][0] != psi.tobytes():
            last[:] = [(psi.tobytes(), _weigh(model, psi, sight))]
        return last[0][1]

    def log_hazard(a: Floats, b: Floats, psi: Floats) -> Floats:
        weights = weights_at(psi)
        both = log_histories(model.layout, weights, a, b, log_age=log_age)
        whole, sound = (joined(model.layout, part) for part in both)
        return np.asarray(np.log(np.maximum(whole - sound, LEAST_CHANCE)))

    return log_hazard


def _rate_count(estimated: Estimated) -> int:
    """Return the number of logit rates the estimate has an uncertainty of."""
    return len(estimated.matrix) - estimated.model.design.size


def _slopes(hazard: _LogHazard, middle: Floats, at: tuple[Floats, Floats, Floats], rate_count: int) -> _Slopes:
    """Return slopes of c: central differences in ln scale and ln shape (4 passes), one-sided in the rates (2R)."""
    a, b, psi = at

    def slope(up: Floats, down: Floats) -> Floats:
        return (up - down) / (2 * SHIFT)

    scale = slope(hazard(a + SHIFT, b, psi), hazard(a - SHIFT, b, psi))
    shape = slope(hazard(a, b + SHIFT, psi), hazard(a, b - SHIFT, psi))
    sides = SHIFT * np.eye(len(psi))[:rate_count]
    by_rate = [(hazard(a, b, psi + side) - middle) / SHIFT for side in sides]
    return _Slopes(scale, shape, np.stack(by_rate, axis=1) if by_rate else np.zeros((len(a), 0)))


def _moves(estimated: Estimated, fleet: Fleet, slopes: _Slopes) -> _Moves:
    """Return Cov(ln scale, c) / sd c, Cov(ln shape, c) / sd c, and what of sd c remains, for each life.

    ln scale moves with the coefficients as x - C_g / d_g, and by N(0, 1 / d_g) of its own boat.
    """
    out = np.zeros((3, fleet.life_count))
    spread = full_covariance(estimated)
    for lo in range(0, fleet.life_count, LIVES_AT_ONCE):
        part = slice(lo, lo + LIVES_AT_ONCE)
        scale, shape, own = _rows(estimated, fleet, part)
        ga, gb = slopes.scale[part], slopes.shape[part]
        v = ga[:, None] * scale + gb[:, None] * shape
        v[:, v.shape[1] - slopes.rates.shape[1] :] += slopes.rates[part]
        with_c = v @ spread
        along = np.einsum("np,np->n", scale, with_c) + ga * own, np.einsum("np,np->n", shape, with_c)
        sd = np.sqrt(np.maximum(np.einsum("np,np->n", v, with_c) + ga**2 * own, 1e-24))
        out[:, part] = along[0] / sd, along[1] / sd, sd - (ga * along[0] + gb * along[1]) / sd
    return _Moves(*out)


def _rows(estimated: Estimated, fleet: Fleet, part: slice) -> tuple[Floats, Floats, Floats]:
    """Return by life how ln scale and ln shape hang on coefficients and rates, and the variance of its boat's own."""
    design, k, boat = estimated.model.design, fleet.class_index[part], fleet.boat_index[part]
    blank = np.zeros((len(k), len(estimated.matrix) - design.size))
    scale, shape = (np.hstack([rows[k], blank]) for rows in (design.scale_rows, design.shape_rows))
    scale[:, design.covariates] += fleet.covariates[part]
    if not len(estimated.boat):
        return scale, shape, np.zeros(len(k))
    return scale - (estimated.cross / estimated.boat[:, None])[boat], shape, 1.0 / estimated.boat[boat]


def with_hidden_copies(fleet: Fleet, share: float) -> Fleet:
    """Return the fleet with each copy written twice: crack where an in-place look can see it (`share`), and not."""
    twice = np.repeat(np.arange(len(fleet.copy_life)), 2)
    hidden = np.tile([False, True], len(fleet.copy_life))
    return replace(
        fleet,
        copy_life=fleet.copy_life[twice],
        copy_log_weight=fleet.copy_log_weight[twice] + np.where(hidden, np.log1p(-share), np.log(share)),
        copy_shift=fleet.copy_shift[twice],
        copy_entry=fleet.copy_entry[twice],
        copy_hidden=hidden,
    )
