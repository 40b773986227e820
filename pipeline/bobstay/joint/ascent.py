"""The search: a start from a grid, then damped Newton steps with rates and spreads moved along the way."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.design import START_LOG_SD
from bobstay.joint.evidence import FULL_PACE, SpreadPace, estimated_spreads, improved_spreads, padded
from bobstay.joint.fleet import Floats, Ints
from bobstay.joint.model import Model, Point, RateColumns, Seen
from bobstay.joint.rates import LOWEST_LOGIT, expectation_step
from bobstay.joint.solve import Blocks, Step, reduce, step

GRID_SCALES = np.geomspace(4.0, 70.0, 8)
GRID_SHAPES = (1.3, 2.2, 3.5)
GRID_BOATS = 200
EM_STEPS = 6
LARGEST_STEP = 0.8
NEAR = 20.0  # decrement below which spreads and rates may move by curvature
DONE = 1e-3
SLOW = 0.1  # a step that leaves more of the decrement has the rates' curvature looked at anew
MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Settled:
    """Where one search stands between steps, or has come to."""

    point: Point
    seen: Seen
    columns: RateColumns | None = None
    damping: float = 0.0
    spread_change: float = np.inf
    spreads: SpreadPace = FULL_PACE
    rate_change: float = np.inf
    decrement: float = np.inf
    was_mended: bool = True
    is_slow: bool = True  # the last step left more than a Newton step leaves
    passes: int = 1


def evenly(count: int, wanted: int) -> Ints:
    """Return `wanted` of `count` boats, spread evenly (all where there are fewer)."""
    return np.unique(np.linspace(0, count - 1, min(wanted, count)).astype(np.intp))


def first_point(model: Model) -> Point:
    """Return the best of a grid of common scales and shapes, judged on at most GRID_BOATS boats."""
    part = model.with_fleet(model.fleet.of_boats(evenly(model.fleet.boat_count, GRID_BOATS)))
    psi = model.rates.psi()
    weights = part.weights(psi)
    blank = Point(np.zeros(model.design.size), np.zeros(part.fleet.boat_count), psi, START_LOG_SD.copy())
    levels = [model.design.level(float(np.log(s)), float(np.log(k))) for s in GRID_SCALES for k in GRID_SHAPES]
    values = [part.value(replace(blank, coefficients=z), weights) for z in levels]
    return replace(blank, coefficients=levels[int(np.argmax(values))], boats=np.zeros(model.fleet.boat_count))


def search(model: Model, point: Point, *, em_steps: int, hold: bool, until: float = DONE) -> Settled:
    """Step until nothing moves: rates by EM in the first steps, then with everything else by Newton.

    With `hold` spreads stay as they are, and the search ends where the decrement is below `until`.
    """
    state = Settled(point, model.see(point))
    active = estimated_spreads(model)
    if hold or not len(active):
        state = replace(state, spread_change=0.0)
    for count in range(MOST_STEPS):
        if (
            model.rates.estimated
            and state.decrement < NEAR
            and (state.is_slow if state.columns is not None else count >= em_steps)
        ):
            state = replace(state, columns=model.rate_columns(state.point, state.seen))
        may_move = state.decrement < NEAR and not state.was_mended and count % 2 == 0
        if not hold and len(active) and may_move and state.spread_change > DONE * 5:
            state = _respread(model, state, active)
        state = _advance(model, state, em_count=count if model.rates.estimated else None)
        if is_done(model, state) or (hold and state.decrement < until):
            break
    return state


def is_done(model: Model, state: Settled) -> bool:
    """Say whether nothing moves any more: the point, the rates, the spreads."""
    rates_rest = not model.rates.estimated or (state.columns is not None and state.rate_change < DONE)
    return state.decrement < DONE and rates_rest and state.spread_change < 0.05


def _respread(model: Model, state: Settled, active: Ints) -> Settled:
    """Move the spreads to where the evidence is highest, and see the penalised value there."""
    best = improved_spreads(model, state.point, with_columns(state.seen, state.columns), active)
    wanted = best - state.point.log_sd
    spreads = state.spreads.after(wanted)
    point = replace(state.point, log_sd=state.point.log_sd + spreads.pace * wanted)
    value = state.seen.value + model.log_prior(point) - model.log_prior(state.point)
    seen, change = replace(state.seen, value=value), float(np.abs(wanted).max())
    return replace(state, point=point, seen=seen, spread_change=change, spreads=spreads)


def with_columns(seen: Seen, columns: RateColumns | None) -> Blocks:
    """Return the blocks, the rates appended once their columns are known."""
    if columns is None:
        return seen.blocks
    return seen.blocks.with_rates(seen.score, columns.inner, columns.cross, columns.corner)


def _newton(model: Model, point: Point, blocks: Blocks, damping: float) -> Step:
    prior, start = padded(model.prior(point.log_sd), point, len(blocks.gradient))
    return step(reduce(blocks, prior, start, point.boats), damping)


def _advance(model: Model, state: Settled, *, em_count: int | None) -> Settled:
    """Take one step, shortened until the penalised log-likelihood rises."""
    move = _newton(model, state.point, with_columns(state.seen, state.columns), state.damping)
    size = model.design.size
    dz, du = move.coefficients[:size], move.boats
    dpsi = _rate_move(model, state, move.coefficients[size:], em_count)
    largest = max(np.abs(dz).max(), np.abs(du).max(initial=0.0), np.abs(dpsi).max(initial=0.0))
    length = min(1.0, LARGEST_STEP / max(largest, 1e-12))
    point, seen, halvings = _rise(model, state, (dz, du, dpsi), length)
    damping = max(4 * state.damping, 0.05) if halvings or move.was_mended else state.damping / 5
    return replace(
        state,
        point=point,
        seen=seen,
        damping=damping if damping > 1e-6 else 0.0,
        decrement=max(move.decrement, 0.0),
        is_slow=halvings > 0 or move.decrement > SLOW * state.decrement,
        was_mended=move.was_mended,
        rate_change=float(np.abs(dpsi).max(initial=0.0)),
        passes=state.passes + 1 + halvings,
    )


def _rate_move(model: Model, state: Settled, newton: Floats, em_count: int | None) -> Floats:
    """Return the change of the logit rates: none, by (over-relaxed) EM, or as Newton says."""
    if em_count is None:
        return np.zeros(len(state.point.psi))
    if state.columns is not None:
        return newton
    pace = 1.5 if em_count >= EM_STEPS // 2 else 1.0
    return pace * (expectation_step(state.seen.counts, model.rates) - state.point.psi)


def _rise(model: Model, state: Settled, move: tuple[Floats, Floats, Floats], length: float) -> tuple[Point, Seen, int]:
    """Return the first point along the move, full length and then ever shorter, that does not fall."""
    least = state.seen.value - 1e-9 * abs(state.seen.value)
    for halvings in range(12):
        point = moved(state.point, move, length)
        seen = model.see(point)
        if seen.value >= least:
            return point, seen, halvings
        length *= 0.35
    return state.point, state.seen, halvings


def moved(point: Point, move: tuple[Floats, Floats, Floats], length: float) -> Point:
    """Return the point a length along a move of coefficients, boat effects and logit rates."""
    dz, du, dpsi = move
    boats = point.boats + length * du if len(du) else point.boats
    psi = np.clip(point.psi + length * dpsi, -LOWEST_LOGIT, LOWEST_LOGIT) if dpsi.any() else point.psi
    return replace(point, coefficients=point.coefficients + length * dz, boats=boats, psi=psi)
