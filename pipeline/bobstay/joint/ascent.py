"""The search: a start from a grid, damped Newton steps, rates and spreads along the way, and a final polish.

The polish averages gradient and Hessian over boat effects one posterior standard deviation up and down, which is the
derivative of the Laplace marginal likelihood; without it intervals of a big fleet are too narrow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bobstay.joint.design import START_LOG_SD, Design
from bobstay.joint.evidence import estimated_spreads, improved_spreads, padded
from bobstay.joint.fleet import Fleet, Floats, Ints
from bobstay.joint.model import Model, Point, RateColumns, Seen
from bobstay.joint.rates import LOWEST_LOGIT, RatePrior, expectation_step
from bobstay.joint.solve import Blocks, Step, System, covariance, reduce, step

GRID_SCALES = np.geomspace(4.0, 70.0, 8)
GRID_SHAPES = (1.3, 2.2, 3.5)
GRID_BOATS = 200
START_BOATS = 400  # a big fleet starts from the estimate of so many of its boats
BIG_LOOKS = 150_000
EM_STEPS = 6
LARGEST_STEP = 0.8
LARGEST_POLISH = 0.3
NEAR = 20.0  # decrement below which spreads and rates may move by curvature
DONE = 1e-3
MOST_STEPS = 60
MOST_POLISH = 8


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
class _State:
    """Where one search stands between steps."""

    point: Point
    seen: Seen
    columns: RateColumns | None = None
    damping: float = 0.0
    spread_change: float = np.inf
    rate_change: float = np.inf
    decrement: float = np.inf
    was_mended: bool = True
    passes: int = 1


def estimate(
    fleet: Fleet, design: Design, *, rates: RatePrior, cleared: float = 0.5, has_boats: bool = True
) -> Estimated:
    """Estimate class parameters, covariates, rates, spreads and boat effects together.

    Assumes at least one finding and one clear look; the caller refuses other fleets by name.
    """
    model = Model.of(fleet, design, rates, cleared=cleared, has_boats=has_boats)
    if len(fleet.look_age) > BIG_LOOKS and fleet.boat_count > 2 * START_BOATS:
        part = model.with_fleet(fleet.of_boats(_some(fleet.boat_count, START_BOATS)))
        first = _search(part, _first_point(part), em_steps=EM_STEPS, hold=False)
        point = replace(first.point, boats=np.zeros(fleet.boat_count))
        return _polished(model, _search(model, point, em_steps=0, hold=True))
    return _polished(model, _search(model, _first_point(model), em_steps=EM_STEPS, hold=False))


def _some(count: int, wanted: int) -> Ints:
    """Return `wanted` of `count` boats, spread evenly (all where there are fewer)."""
    return np.unique(np.linspace(0, count - 1, min(wanted, count)).astype(np.intp))


def _first_point(model: Model) -> Point:
    """Return the best of a grid of common scales and shapes, judged on at most GRID_BOATS boats."""
    part = model.with_fleet(model.fleet.of_boats(_some(model.fleet.boat_count, GRID_BOATS)))
    psi = model.rates.psi()
    weights = part.weights(psi)
    blank = Point(np.zeros(model.design.size), np.zeros(part.fleet.boat_count), psi, START_LOG_SD.copy())
    levels = [model.design.level(float(np.log(s)), float(np.log(k))) for s in GRID_SCALES for k in GRID_SHAPES]
    values = [part.value(replace(blank, coefficients=z), weights) for z in levels]
    return replace(blank, coefficients=levels[int(np.argmax(values))], boats=np.zeros(model.fleet.boat_count))


def _search(model: Model, point: Point, *, em_steps: int, hold: bool) -> _State:
    """Step until nothing moves: rates by EM in the first steps, then with everything else by Newton."""
    state = _State(point, model.see(point))
    active = estimated_spreads(model)
    if hold or not len(active):
        state = replace(state, spread_change=0.0)
    for count in range(MOST_STEPS):
        if count >= em_steps and state.columns is None and model.rates.estimated and state.decrement < NEAR:
            state = replace(state, columns=model.rate_columns(state.point, state.seen))
        may_move = state.decrement < NEAR and not state.was_mended and count % 2 == 0
        if not hold and len(active) and may_move and state.spread_change > DONE * 5:
            state = _respread(model, state, active)
        state = _advance(model, state, em_count=count if model.rates.estimated else None)
        if _is_done(model, state):
            break
    return state


def _is_done(model: Model, state: _State) -> bool:
    rates_rest = not model.rates.estimated or (state.columns is not None and state.rate_change < DONE)
    return state.decrement < DONE and rates_rest and state.spread_change < 0.05


def _respread(model: Model, state: _State, active: Ints) -> _State:
    """Move the spreads to where the evidence is highest, and see the penalised value there."""
    log_sd = improved_spreads(model, state.point, _full(state.seen, state.columns), active)
    change = float(np.abs(log_sd - state.point.log_sd).max())
    point = replace(state.point, log_sd=log_sd)
    value = state.seen.value + model.log_prior(point) - model.log_prior(state.point)
    return replace(state, point=point, seen=replace(state.seen, value=value), spread_change=change)


def _full(seen: Seen, columns: RateColumns | None) -> Blocks:
    if columns is None:
        return seen.blocks
    return seen.blocks.with_rates(seen.score, columns.inner, columns.cross, columns.corner)


def _newton(model: Model, point: Point, blocks: Blocks, damping: float) -> Step:
    prior, start = padded(model.prior(point.log_sd), point, len(blocks.gradient))
    return step(reduce(blocks, prior, start, point.boats), damping)


def _advance(model: Model, state: _State, *, em_count: int | None) -> _State:
    """Take one step, shortened until the penalised log-likelihood rises."""
    move = _newton(model, state.point, _full(state.seen, state.columns), state.damping)
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
        was_mended=move.was_mended,
        rate_change=float(np.abs(dpsi).max(initial=0.0)),
        passes=state.passes + 1 + halvings,
    )


def _rate_move(model: Model, state: _State, newton: Floats, em_count: int | None) -> Floats:
    """Return the change of the logit rates: none, by (over-relaxed) EM, or as Newton says."""
    if em_count is None:
        return np.zeros(len(state.point.psi))
    if state.columns is not None:
        return newton
    pace = 1.5 if em_count >= EM_STEPS // 2 else 1.0
    return pace * (expectation_step(state.seen.counts, model.rates) - state.point.psi)


def _rise(model: Model, state: _State, move: tuple[Floats, Floats, Floats], length: float) -> tuple[Point, Seen, int]:
    """Return the first point along the move, full length and then ever shorter, that does not fall."""
    least = state.seen.value - 1e-9 * abs(state.seen.value)
    for halvings in range(12):
        point = _moved(state.point, move, length)
        seen = model.see(point)
        if seen.value >= least:
            return point, seen, halvings
        length *= 0.35
    return state.point, state.seen, halvings


def _moved(point: Point, move: tuple[Floats, Floats, Floats], length: float) -> Point:
    dz, du, dpsi = move
    boats = point.boats + length * du if len(du) else point.boats
    psi = np.clip(point.psi + length * dpsi, -LOWEST_LOGIT, LOWEST_LOGIT) if dpsi.any() else point.psi
    return replace(point, coefficients=point.coefficients + length * dz, boats=boats, psi=psi)


def _polished(model: Model, state: _State) -> Estimated:
    """Take the last steps on the marginal likelihood, boat effects averaged over their spread."""
    point, columns, passes = state.point, state.columns, state.passes
    if model.rates.estimated and columns is None:
        columns = model.rate_columns(point, state.seen)
    active = estimated_spreads(model)
    system, seen = _system(model, point, state.seen, columns), state.seen
    has_converged = _is_done(model, state)
    for count in range(MOST_POLISH if model.has_boats else 0):
        seen = model.see(point, spread=1.0 / np.sqrt(system.boat))
        passes += 2
        if count < 2 and len(active):
            point = replace(point, log_sd=improved_spreads(model, point, _full(seen, columns), active))
        system = _system(model, point, seen, columns)
        move = step(system)
        if abs(move.decrement) < DONE:
            break
        point = _polish_step(model, point, move)
    else:
        has_converged = has_converged and not model.has_boats
    ll = np.bincount(model.fleet.class_index, seen.terms.ll, minlength=model.fleet.class_count).astype(float)
    blocks = _full(seen, columns)
    return Estimated(
        point,
        system.matrix,
        covariance(system.matrix),
        system.boat,
        system.cross,
        blocks,
        model,
        ll,
        has_converged,
        passes,
    )


def _system(model: Model, point: Point, seen: Seen, columns: RateColumns | None) -> System:
    blocks = _full(seen, columns)
    prior, start = padded(model.prior(point.log_sd), point, len(blocks.gradient))
    return reduce(blocks, prior, start, point.boats)


def _polish_step(model: Model, point: Point, move: Step) -> Point:
    size = model.design.size
    parts = (move.coefficients[:size], move.boats, move.coefficients[size:])
    if not len(parts[2]):
        parts = (*parts[:2], np.zeros(len(point.psi)))
    largest = max(np.abs(p).max(initial=0.0) for p in parts)
    return _moved(point, parts, min(1.0, LARGEST_POLISH / max(largest, 1e-12)))
