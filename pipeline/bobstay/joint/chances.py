"""The chance of a crack in each life by an age, given its whole history, with its standard deviation on the logit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.fleet import Fleet, Floats
from bobstay.joint.layout import LEAST_AGE
from bobstay.joint.model import Model
from bobstay.joint.passes import HIGHEST_Y, LOWEST_Y, Weights, at_entry, joined, log_likelihoods, weigh
from bobstay.joint.polish import Estimated
from bobstay.joint.rates import code_tables, logit

SHIFT = 0.02  # differences in ln scale, ln shape and logit rates
LIVES_AT_ONCE = 50_000  # lives whose gradients are held together
LEAST_CHANCE = 1e-12


@dataclass(frozen=True, slots=True)
class Chances:
    """By life: the chance of a crack by the age asked for, and the standard deviation of its logit."""

    chance: Floats
    logit_sd: Floats


@dataclass(frozen=True, slots=True)
class _Slopes:
    """Slopes of logit chance by life: in ln scale (n,), in ln shape (n,) and in the logit rates (n, 2R or 0)."""

    scale: Floats
    shape: Floats
    rates: Floats


def chances(estimated: Estimated, fleet: Fleet, age_years: Floats, *, sight: Floats | None = None) -> Chances:
    """Return 1 - w_n S(age) / L for each life of `fleet` by its age (n,), counted as its looks are.

    `fleet` has the classes, boats, covariates and detection rows of the estimate, but histories of its own; `sight` is
    as in `rates.code_tables` and bears on its hidden copies. The standard deviation is by the delta method and
    includes the boat effect's.
    """
    chance, a, b, psi = _asked(estimated, fleet, age_years, sight)
    middle = chance(a, b, psi)
    slopes = _slopes(chance, a, b, psi, with_rates=len(estimated.matrix) > estimated.model.design.size)
    return Chances(middle, _logit_sd(estimated, fleet, slopes))


def chance_by(estimated: Estimated, fleet: Fleet, age_years: Floats, *, sight: Floats | None = None) -> Floats:
    """Return the chance as `chances` does, without its uncertainty."""
    chance, a, b, psi = _asked(estimated, fleet, age_years, sight)
    return chance(a, b, psi)


_Chance = Callable[[Floats, Floats, Floats], Floats]


def _asked(
    estimated: Estimated, fleet: Fleet, age_years: Floats, sight: Floats | None
) -> tuple[_Chance, Floats, Floats, Floats]:
    """Return the chance as a function, and ln scale, ln shape and logit rates of the estimate."""
    model = estimated.model.with_fleet(fleet)
    age = np.maximum(age_years[fleet.copy_life] + fleet.copy_shift, LEAST_AGE)
    return _chance_at(model, np.log(age), sight), *model.ab(estimated.point), estimated.point.psi


def _chance_at(model: Model, log_age: Floats, sight: Floats | None) -> _Chance:
    """Return the chance as a function of ln scale, ln shape (by life) and logit rates."""

    def chance(a: Floats, b: Floats, psi: Floats) -> Floats:
        weights = weigh(model.layout, code_tables(psi, model.cleared, sight), model.cleared)
        whole = joined(model.layout, log_likelihoods(model.layout, weights, a, b))
        sound = joined(model.layout, _log_sound(model, weights, log_age, a, b))
        return np.clip(-np.expm1(np.minimum(sound - whole, 0.0)), LEAST_CHANCE, 1.0 - LEAST_CHANCE)

    return chance


def _log_sound(model: Model, weights: Weights, log_age: Floats, a: Floats, b: Floats) -> Floats:
    """Return by copy the log chance of its history and of no crack by the age asked for."""
    life = model.layout.copy_life
    y = np.clip(np.exp(b[life]) * (log_age - a[life]), LOWEST_Y, HIGHEST_Y)
    out = np.log(np.maximum(weights.last, 1e-300)) + weights.peak + model.layout.copy_log_weight - np.exp(y)
    out[model.layout.late] -= np.log(at_entry(model.layout, weights.cleared, a, b)[0])
    return out


def _slopes(chance: _Chance, a: Floats, b: Floats, psi: Floats, *, with_rates: bool) -> _Slopes:
    """Return slopes of logit chance by central differences (4 passes, and 4R with rates)."""

    def slope(up: Floats, down: Floats) -> Floats:
        return (logit(up) - logit(down)) / (2 * SHIFT)

    by_rate = [
        slope(chance(a, b, psi + side), chance(a, b, psi - side)) for side in SHIFT * np.eye(len(psi)) if with_rates
    ]
    return _Slopes(
        slope(chance(a + SHIFT, b, psi), chance(a - SHIFT, b, psi)),
        slope(chance(a, b + SHIFT, psi), chance(a, b - SHIFT, psi)),
        np.stack(by_rate, axis=1) if by_rate else np.zeros((len(a), 0)),
    )


def _logit_sd(estimated: Estimated, fleet: Fleet, slopes: _Slopes) -> Floats:
    """Return sqrt((v - g_a C_g / d_g)' S^-1 (v - g_a C_g / d_g) + g_a^2 / d_g) for each life."""
    design, out = estimated.model.design, np.empty(fleet.life_count)
    per_boat = estimated.cross / estimated.boat[:, None] if len(estimated.boat) else None
    for lo in range(0, fleet.life_count, LIVES_AT_ONCE):
        part = slice(lo, lo + LIVES_AT_ONCE)
        k, boat, ga = fleet.class_index[part], fleet.boat_index[part], slopes.scale[part, None]
        v = ga * design.scale_rows[k] + slopes.shape[part, None] * design.shape_rows[k]
        v[:, design.covariates] += ga * fleet.covariates[part]
        v = np.hstack([v, slopes.rates[part]])
        own = np.zeros(len(k))
        if per_boat is not None:
            v -= ga * per_boat[boat]
            own = slopes.scale[part] ** 2 / estimated.boat[boat]
        out[part] = np.sqrt(np.einsum("np,np->n", v @ estimated.covariance, v) + own)
    return out


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
