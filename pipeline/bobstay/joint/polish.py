"""The whole estimate: the search, and a final polish that makes its intervals as wide as they should be.

The polish averages gradient and Hessian over boat effects one posterior standard deviation up and down, which is the
derivative of the Laplace marginal likelihood: the mean of g over N(u, v) is g + v g'' / 2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.ascent import DONE, EM_STEPS, Settled, evenly, first_point, is_done, moved, search, with_columns
from bobstay.joint.design import Design
from bobstay.joint.evidence import estimated_spreads, improved_spreads, padded
from bobstay.joint.fleet import Fleet, Floats, Ints
from bobstay.joint.model import Model, Point, RateColumns, Seen
from bobstay.joint.rates import RatePrior
from bobstay.joint.solve import Blocks, Step, System, covariance, reduce, step

START_BOATS = 400  # a big fleet starts from the estimate of so many of its boats
BIG_LOOKS = 150_000
LARGEST_POLISH = 0.3
MOST_POLISH = 30
SPREAD_STEPS = 2  # spreads move in the first steps of the polish only
SLOW = 0.5  # a step that does not at least halve the decrement makes the next ones shorter
LEAST_PACE = 0.1


@dataclass(frozen=True, slots=True)
class Estimated:
    """The estimate: the point, the reduced matrix of coefficients then rates, and boats' curvature and cross block."""

    point: Point
    matrix: Floats
    covariance: Floats
    boat: Floats  # (G,) curvature with prior; empty without a boat effect
    cross: Floats  # (G, P + R)
    blocks: Blocks
    model: Model
    class_log_likelihood: Floats
    has_converged: bool
    pass_count: int


@dataclass(frozen=True, slots=True)
class _Polish:
    """Where the polish stands."""

    point: Point
    seen: Seen
    system: System
    pace: float = 1.0
    decrement: float = np.inf
    passes: int = 0


def estimate(
    fleet: Fleet, design: Design, *, rates: RatePrior, cleared: float = 0.5, has_boats: bool = True
) -> Estimated:
    """Estimate class parameters, covariates, rates, spreads and boat effects together.

    Assumes at least one finding and one clear look; the caller refuses other fleets by name.
    """
    model = Model.of(fleet, design, rates, cleared=cleared, has_boats=has_boats)
    if len(fleet.look_age) > BIG_LOOKS and fleet.boat_count > 2 * START_BOATS:
        part = model.with_fleet(fleet.of_boats(evenly(fleet.boat_count, START_BOATS)))
        first = search(part, first_point(part), em_steps=EM_STEPS, hold=False)
        point = replace(first.point, boats=np.zeros(fleet.boat_count))
        return _polished(model, search(model, point, em_steps=0, hold=True))
    return _polished(model, search(model, first_point(model), em_steps=EM_STEPS, hold=False))


def _polished(model: Model, state: Settled) -> Estimated:
    """Take the last steps on the marginal likelihood, boat effects averaged over their spread."""
    columns = state.columns
    if model.rates.estimated and columns is None:
        columns = model.rate_columns(state.point, state.seen)
    polish = _Polish(state.point, state.seen, _system(model, state.point, state.seen, columns))
    if not model.has_boats:
        return _summed_up(model, polish, columns, has_converged=is_done(model, state), passes=state.passes)
    active = estimated_spreads(model)
    for count in range(MOST_POLISH):
        polish = _again(model, polish, columns, active if count < SPREAD_STEPS else active[:0])
        if polish.decrement < DONE:
            break
    settled = is_done(model, state) and polish.decrement < DONE
    return _summed_up(model, polish, columns, has_converged=settled, passes=state.passes + polish.passes)


def _again(model: Model, polish: _Polish, columns: RateColumns | None, active: Ints) -> _Polish:
    """Take one step of the polish, or none where it has come to rest."""
    point = polish.point
    seen = model.see(point, spread=1.0 / np.sqrt(polish.system.boat))
    log_sd = improved_spreads(model, point, with_columns(seen, columns), active)
    point = replace(point, log_sd=log_sd)
    system = _system(model, point, seen, columns)
    move = step(system)
    decrement = abs(move.decrement)
    slower = decrement > SLOW * polish.decrement and not len(active)
    pace = max(polish.pace * SLOW, LEAST_PACE) if slower else polish.pace
    if decrement >= DONE:
        point = _step_to(model, point, move, pace)
    return replace(
        polish, point=point, seen=seen, system=system, pace=pace, decrement=decrement, passes=polish.passes + 2
    )


def _summed_up(
    model: Model, polish: _Polish, columns: RateColumns | None, *, has_converged: bool, passes: int
) -> Estimated:
    k, seen, system = model.fleet.class_index, polish.seen, polish.system
    return Estimated(
        point=polish.point,
        matrix=system.matrix,
        covariance=covariance(system.matrix),
        boat=system.boat,
        cross=system.cross,
        blocks=with_columns(seen, columns),
        model=model,
        class_log_likelihood=np.bincount(k, seen.terms.ll, minlength=model.fleet.class_count).astype(float),
        has_converged=has_converged,
        pass_count=passes,
    )


def _system(model: Model, point: Point, seen: Seen, columns: RateColumns | None) -> System:
    blocks = with_columns(seen, columns)
    prior, start = padded(model.prior(point.log_sd), point, len(blocks.gradient))
    return reduce(blocks, prior, start, point.boats)


def _step_to(model: Model, point: Point, move: Step, pace: float) -> Point:
    size = model.design.size
    rates = move.coefficients[size:] if model.rates.estimated else np.zeros(len(point.psi))
    parts = (move.coefficients[:size], move.boats, rates)
    largest = max(np.abs(part).max(initial=0.0) for part in parts)
    return moved(point, parts, min(pace, LARGEST_POLISH / max(largest, 1e-12)))
