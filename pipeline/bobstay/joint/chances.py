"""The chance of a crack in each life by an age, given its whole history, with the interval of that chance.

Parameters act nearly in a straight line on c = ln(-ln(1 - chance)), the log of the hazard gone through since the looks;
on the logit they do not, for chances near 1. Each end of an interval is the chance worked out anew where ln scale and
ln shape have moved, in the direction in which they are likeliest to, until c is so many standard deviations off.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from bobstay.joint.fleet import Fleet, Floats
from bobstay.joint.layout import LEAST_AGE
from bobstay.joint.model import Model
from bobstay.joint.moves import Slopes, moves_of
from bobstay.joint.passes import Weights, joined, log_histories
from bobstay.joint.polish import Estimated
from bobstay.joint.rate_slopes import history_slopes, table_slopes
from bobstay.joint.rates import expit

if TYPE_CHECKING:
    from collections.abc import Sequence

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

    @classmethod
    def joined(cls, parts: Sequence[Chances]) -> Chances:
        """Return the chances of several groups of lives one after another; at least one group."""
        return cls(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(cls)))


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
    middle, slopes = hazard.sloped(a, b, psi, rate_count=_rate_count(estimated))
    reach = float(ndtri((1.0 + interval) / 2))
    moves = moves_of(estimated, fleet, slopes)
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


def _asked(
    estimated: Estimated, fleet: Fleet, age_years: Floats, sight: Floats | None
) -> tuple[LogHazard, Floats, Floats, Floats]:
    """Return c as a function, and ln scale, ln shape and logit rates of the estimate."""
    model = estimated.model.with_fleet(fleet)
    age = np.maximum(age_years[fleet.copy_life] + fleet.copy_shift, LEAST_AGE)
    return LogHazard(model, np.log(age), sight), *model.ab(estimated.point), estimated.point.psi


class LogHazard:
    """c = ln(-ln(1 - chance)) of each life by an age (ln age by copy), for ln scale, ln shape and logit rates."""

    def __init__(self, model: Model, log_age: Floats, sight: Floats | None) -> None:
        self.model, self.log_age, self.sight = model, log_age, sight
        self.last: tuple[bytes, Weights] | None = None  # the weights hang on the rates alone

    def __call__(self, a: Floats, b: Floats, psi: Floats) -> Floats:
        """Return c (n,) for ln scale and ln shape by life and logit rates (2R,)."""
        layout = self.model.layout
        both = log_histories(layout, self.weights(psi), a, b, log_age=self.log_age)
        whole, sound = (joined(layout, part) for part in both)
        return np.asarray(np.log(np.maximum(whole - sound, LEAST_CHANCE)))

    def sloped(self, a: Floats, b: Floats, psi: Floats, *, rate_count: int) -> tuple[Floats, Slopes]:
        """Return c and its slopes in a, b and the first `rate_count` rates."""
        layout, model = self.model.layout, self.model
        sound, cracked = (table[:rate_count] for table in table_slopes(psi, model.cleared, self.sight))
        both, slopes = history_slopes(layout, self.weights(psi), a, b, log_age=self.log_age, tables=(sound, cracked))
        hazard = both[0] - both[1]
        per_hazard = np.where(hazard > LEAST_CHANCE, 1.0 / np.maximum(hazard, LEAST_CHANCE), 0.0)
        by = (slopes[0] - slopes[1]) * per_hazard
        return np.log(np.maximum(hazard, LEAST_CHANCE)), Slopes(by[0], by[1], by[2:])

    def weights(self, psi: Floats) -> Weights:
        """Return the weights of the looks for these rates."""
        if self.last is None or self.last[0] != psi.tobytes():
            self.last = psi.tobytes(), self.model.weights(psi, self.sight)
        return self.last[1]


def log_hazard_at(model: Model, log_age: Floats, sight: Floats | None) -> LogHazard:
    """Return c = ln(-ln(1 - chance)) as a function of ln scale, ln shape (by life) and logit rates."""
    return LogHazard(model, log_age, sight)


def _rate_count(estimated: Estimated) -> int:
    """Return the number of logit rates the estimate has an uncertainty of."""
    return len(estimated.matrix) - estimated.model.design.size


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
