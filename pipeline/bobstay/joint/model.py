"""The model at a point: likelihood, gradient and Hessian in coefficients, boat effects and logit rates."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.blocks import assemble, rate_blocks
from bobstay.joint.design import BOAT, Design
from bobstay.joint.fleet import Fleet, Floats
from bobstay.joint.layout import Layout, lay_out
from bobstay.joint.passes import Terms, Weights, joined, log_likelihoods, pass_over, weigh
from bobstay.joint.rate_slopes import mean_slopes, rate_slopes, table_slopes
from bobstay.joint.rates import (
    RateCounts,
    RatePrior,
    code_tables,
    expected_curvature,
    log_rate_prior,
    rate_counts,
    rate_score,
)
from bobstay.joint.solve import Blocks, Prior


@dataclass(frozen=True, slots=True)
class Point:
    """Where the search stands: coefficients (P,), boat effects (G,), logit rates (2R,), ln standard deviations (7,)."""

    coefficients: Floats
    boats: Floats
    psi: Floats
    log_sd: Floats


@dataclass(frozen=True, slots=True)
class Seen:
    """The model evaluated at a point."""

    terms: Terms
    blocks: Blocks
    counts: RateCounts
    score: Floats  # gradient in psi, prior included
    value: float  # log-likelihood plus log priors of coefficients, boats and rates


@dataclass(frozen=True, slots=True)
class RateColumns:
    """Negative Hessian columns of the logit rates: with coefficients, boats and each other."""

    inner: Floats
    cross: Floats
    corner: Floats


@dataclass(frozen=True, slots=True)
class Signs:
    """How often in a year a cracked part fails in service, and how often cracked and sound parts are suspected."""

    failing: float = 0.0
    suspected_cracked: float = 0.0
    suspected_sound: float = 0.0

    @property
    def excess(self) -> float:
        """Signs a year of a cracked part less those of a sound one: years without any speak against a crack so much."""
        return self.failing + self.suspected_cracked - self.suspected_sound

    @property
    def log_times(self) -> float:
        """Log of how much more often a cracked part is suspected (0 where none is)."""
        return float(np.log(self.suspected_cracked / self.suspected_sound)) if self.suspected_sound else 0.0

    def is_like(self, other: Signs, within: float) -> bool:
        """Say whether no rate differs by more than a share."""
        mine = (self.failing, self.suspected_cracked, self.suspected_sound)
        pairs = zip(mine, (other.failing, other.suspected_cracked, other.suspected_sound), strict=True)
        return all(abs(a - b) <= within * max(a, b) for a, b in pairs)


NO_SIGNS = Signs()


@dataclass(frozen=True, slots=True)
class Model:
    """A fleet, its design and priors, with the looks laid out once."""

    fleet: Fleet
    design: Design
    rates: RatePrior
    cleared: float
    has_boats: bool
    layout: Layout
    signs: Signs = NO_SIGNS

    @classmethod
    def of(
        cls,
        fleet: Fleet,
        design: Design,
        rates: RatePrior,
        *,
        cleared: float,
        has_boats: bool,
        signs: Signs = NO_SIGNS,
    ) -> Model:
        """Lay out the looks of `fleet` for this design."""
        return cls(fleet, design, rates, cleared, has_boats, lay_out(fleet, rates.row_count), signs)

    def with_fleet(self, fleet: Fleet) -> Model:
        """Return the same model of another fleet."""
        return replace(self, fleet=fleet, layout=lay_out(fleet, self.rates.row_count))

    def weights(self, psi: Floats, sight: Floats | None = None) -> Weights:
        """Return the weights of the looks for these rates; `sight` as in `rates.code_tables`."""
        tables = code_tables(psi, self.cleared, sight, log_times=self.signs.log_times)
        return weigh(self.layout, tables, self.cleared, self.signs.excess)

    def ab(self, point: Point, boats: Floats | None = None) -> tuple[Floats, Floats]:
        """Return ln scale and ln shape of every life."""
        z, k = point.coefficients, self.fleet.class_index
        a = (self.design.scale_rows @ z)[k] + self.fleet.covariates @ z[self.design.covariates]
        if self.has_boats:
            a = a + (point.boats if boats is None else boats)[self.fleet.boat_index]
        return a, (self.design.shape_rows @ z)[k]

    def prior(self, log_sd: Floats) -> Prior:
        """Return the priors of coefficients and boats for these ln standard deviations."""
        sd = float(np.exp(log_sd[BOAT])) if self.has_boats else None
        return Prior(self.design.prior_precision(log_sd), self.design.mean, sd)

    def log_prior(self, point: Point) -> float:
        """Return the log prior of coefficients, boats and rates, up to a constant at fixed standard deviations."""
        prior = self.prior(point.log_sd)
        value = -0.5 * float((prior.precision * (point.coefficients - prior.mean) ** 2).sum())
        if prior.boat_sd is not None:
            value -= 0.5 * float((point.boats**2).sum()) / prior.boat_sd**2
        return value + (log_rate_prior(point.psi, self.rates) if self.rates.estimated else 0.0)

    def value(self, point: Point, weights: Weights) -> float:
        """Return log-likelihood plus log priors without derivatives."""
        ll = joined(self.layout, log_likelihoods(self.layout, weights, *self.ab(point)))
        return float(ll.sum()) + self.log_prior(point)

    def see(
        self, point: Point, weights: Weights | None = None, spread: Floats | None = None, *, curved: bool = True
    ) -> Seen:
        """Evaluate at a point; with `spread` (G,) average all terms over boat effects one spread up and down.

        Without `curved` the Hessian blocks mean nothing.
        """
        weights = self.weights(point.psi) if weights is None else weights
        if spread is None:
            terms = pass_over(self.layout, weights, *self.ab(point), curved=curved)
        else:
            up = pass_over(self.layout, weights, *self.ab(point, point.boats + spread), curved=curved)
            down = pass_over(self.layout, weights, *self.ab(point, point.boats - spread), curved=curved)
            terms = mean_terms(up, down)
        counts = rate_counts(self.layout.looks_by_code, terms.cracked_by_code)
        value = float(terms.ll.sum()) + self.log_prior(point)
        return Seen(
            terms=terms,
            blocks=assemble(self.fleet, self.design, terms),
            counts=counts,
            score=rate_score(counts, point.psi, self.rates),
            value=value,
        )

    def rate_columns(self, point: Point, seen: Seen, spread: Floats | None = None) -> RateColumns:
        """Return the Hessian columns of the rates; with `spread` as in `see`."""
        sides = [point.boats] if spread is None else [point.boats + spread, point.boats - spread]
        weights, (sound, cracked) = self.weights(point.psi), table_slopes(point.psi, self.cleared)
        found = [
            rate_slopes(self.fleet, self.layout, weights, *self.ab(point, side), tilt=cracked - sound) for side in sides
        ]
        slopes = found[0] if len(found) == 1 else mean_slopes(*found)
        inner, cross = rate_blocks(self.design, slopes)
        return RateColumns(inner, cross, expected_curvature(seen.counts, point.psi, self.rates) - slopes.corner)


def mean_terms(up: Terms, down: Terms) -> Terms:
    """Return the mean of two sets of terms."""
    return Terms(*(0.5 * (getattr(up, name) + getattr(down, name)) for name in Terms.__slots__))
