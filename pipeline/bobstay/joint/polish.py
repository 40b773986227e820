"""The whole estimate: the search, and a final polish that makes its intervals as wide as they should be.

The polish averages gradient and Hessian over boat effects one posterior standard deviation up and down, which is the
derivative of the Laplace marginal likelihood: the mean of g over N(u, v) is g + v g'' / 2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.ascent import (
    DONE,
    EM_STEPS,
    SLOW,
    Settled,
    evenly,
    first_point,
    is_done,
    moved,
    search,
    with_columns,
)
from bobstay.joint.design import Design
from bobstay.joint.evidence import FULL_PACE, SpreadPace, estimated_spreads, improved_spreads, padded
from bobstay.joint.fleet import Fleet, Floats
from bobstay.joint.model import NO_SIGNS, Model, Point, RateColumns, Seen, Signs
from bobstay.joint.rates import RatePrior, suspected_code
from bobstay.joint.solve import Blocks, Step, System, covariance, reduce, step

START_BOATS = 400  # a big fleet starts from the estimate of so many of its boats
BIG_LOOKS = 150_000
LARGEST_POLISH = 0.3
NEAR_ENOUGH = 5.0  # decrement at which a big fleet, spreads held, may leave the rest to the polish
MOST_POLISH = 40
SPREAD_STEPS, MOST_SPREAD_STEPS = 2, 16  # spreads move in the first steps, and on until they rest
SPREAD_DONE = 0.05
SHORTER = 0.7
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
    cracked_years: float  # expected years in service with a crack
    suspected_cracked: float  # expected suspicions of cracked parts
    has_converged: bool
    pass_count: int


@dataclass(frozen=True, slots=True)
class _Polish:
    """Where the polish stands."""

    point: Point
    seen: Seen
    system: System
    columns: RateColumns | None
    pace: float = 1.0
    decrement: float = np.inf
    passes: int = 0
    is_slow: bool = True  # the last step left more than a Newton step leaves
    last: Floats | None = None  # the move before, as it was proposed
    spread_change: float = np.inf
    spreads: SpreadPace = FULL_PACE


def estimate(
    fleet: Fleet,
    design: Design,
    *,
    rates: RatePrior,
    cleared: float = 0.5,
    has_boats: bool = True,
    signs: Signs = NO_SIGNS,
    start: Point | None = None,
) -> Estimated:
    """Estimate class parameters, covariates, rates, spreads and boat effects together, from `start` where one is given.

    Assumes at least one finding and one clear look; the caller refuses other fleets by name.
    """
    model = Model.of(fleet, design, rates, cleared=cleared, has_boats=has_boats, signs=signs)
    if start is not None:
        point = replace(start, boats=np.zeros(fleet.boat_count))
        return _polished(model, search(model, point, em_steps=0, hold=False))
    if is_big(fleet):
        part = model.with_fleet(fleet.of_boats(evenly(fleet.boat_count, START_BOATS)))
        first = search(part, first_point(part), em_steps=EM_STEPS, hold=False)
        point = replace(first.point, boats=np.zeros(fleet.boat_count))
        return _polished(model, search(model, point, em_steps=0, hold=True, until=NEAR_ENOUGH if has_boats else DONE))
    return _polished(model, search(model, first_point(model), em_steps=EM_STEPS, hold=False))


def is_big(fleet: Fleet) -> bool:
    """Say whether a fleet is so big that some of its boats are estimated first."""
    return len(fleet.look_age) > BIG_LOOKS and fleet.boat_count > 2 * START_BOATS


def _polished(model: Model, state: Settled) -> Estimated:
    """Take the last steps on the marginal likelihood, boat effects averaged over their spread."""
    columns = state.columns
    if model.rates.estimated and not model.has_boats:
        columns = model.rate_columns(state.point, state.seen)
    polish = _Polish(state.point, state.seen, _system(model, state.point, state.seen, columns), columns)
    if not model.has_boats:
        return _summed_up(model, polish, has_converged=is_done(model, state), passes=state.passes)
    active = estimated_spreads(model)
    for count in range(MOST_POLISH):
        rests = not len(active) or (count >= SPREAD_STEPS and polish.spread_change < SPREAD_DONE)
        polish = _again(model, polish, with_spreads=not rests and count < MOST_SPREAD_STEPS)
        if polish.decrement < DONE and rests:
            break
    settled = polish.decrement < DONE and (not len(active) or polish.spread_change < SPREAD_DONE)
    return _summed_up(model, polish, has_converged=settled, passes=state.passes + polish.passes)


def _again(model: Model, polish: _Polish, *, with_spreads: bool) -> _Polish:
    """Take one step of the polish (none where it has come to rest), spreads first where they still move.

    The rates' columns are looked at anew first of all, and where old ones led too far (boats with few looks).
    """
    point, change, columns = polish.point, polish.spread_change, polish.columns
    spread = 1.0 / np.sqrt(polish.system.boat)
    seen = model.see(point, spread=spread)
    if model.rates.estimated and polish.is_slow:
        columns = model.rate_columns(point, seen, spread)
    spreads = polish.spreads
    if with_spreads:
        wanted = improved_spreads(model, point, with_columns(seen, columns), estimated_spreads(model)) - point.log_sd
        change, spreads = float(np.abs(wanted).max()), spreads.after(wanted)
        point = replace(point, log_sd=point.log_sd + spreads.pace * wanted)
    system = _system(model, point, seen, columns)
    move = step(system)
    decrement = abs(move.decrement)
    pace = _pace(polish, move)
    if decrement >= DONE:
        point = _step_to(model, point, move, pace)
    return replace(
        polish,
        point=point,
        seen=seen,
        system=system,
        pace=pace,
        decrement=decrement,
        columns=columns,
        spreads=spreads,
        is_slow=decrement > SLOW * polish.decrement,
        passes=polish.passes + 2,
        last=move.coefficients,
        spread_change=change,
    )


def _pace(polish: _Polish, move: Step) -> float:
    """Return how much of a step to take: less after one that went too far and is to be taken back."""
    if polish.last is None:
        return 1.0
    went_too_far = float(polish.last @ (polish.system.matrix @ move.coefficients)) < 0.0
    return max(polish.pace * SHORTER, LEAST_PACE) if went_too_far else min(polish.pace / SHORTER, 1.0)


def _summed_up(model: Model, polish: _Polish, *, has_converged: bool, passes: int) -> Estimated:
    k, seen, system = model.fleet.class_index, polish.seen, polish.system
    return Estimated(
        point=polish.point,
        matrix=system.matrix,
        covariance=covariance(system.matrix),
        boat=system.boat,
        cross=system.cross,
        blocks=with_columns(seen, polish.columns),
        model=model,
        class_log_likelihood=np.bincount(k, seen.terms.ll, minlength=model.fleet.class_count).astype(float),
        cracked_years=seen.terms.cracked_years,
        suspected_cracked=float(seen.terms.cracked_by_code[suspected_code(model.rates.row_count)]),
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
