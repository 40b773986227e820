"""Weibull lives by maximum likelihood: exact, left-, right- and interval-censored ages, with late entry.

S(t) = exp(-(t / scale)^shape). Likelihood of one row, given that it lived to entry:
(S(lower) - S(upper)) / S(entry), or density(age) / S(entry) at an exact age.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.errors import EstimateError
from bobstay.observations import Observations, observe
from bobstay.weibull_likelihood import Design, Slopes, design, level_of_total, slopes, value

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Numbers = NDArray[np.float64]

# The shape is sought over this range, in units of one over the spread of the log ages; an end of it is a refusal.
_SHAPES = np.exp(np.linspace(np.log(1e-6), np.log(1e5), 30))
_START_ROWS = 500  # rows behind the search for a start; the estimate itself uses all
_ROUGHLY = 1e-5  # how still a climb of that search stands, relative to the log-likelihood
_FAR_BELOW = 50.0  # the search for a start turns back this far below its best log-likelihood
_STEPS = 200


@dataclass(frozen=True, slots=True)
class WeibullEstimate:
    """A Weibull estimated by maximum likelihood; `covariance` (2, 2) is of (log shape, log scale)."""

    shape: float
    scale: float
    covariance: Numbers
    log_likelihood: float
    life_count: float
    event_count: float

    def survival(self, age: ArrayLike) -> Numbers:
        """Return S at ages of any shape."""
        return survival(age, shape=self.shape, scale=self.scale)

    def quantile(self, share: ArrayLike) -> Numbers:
        """Return the age by which `share` (0..1) have had the event."""
        return quantile(share, shape=self.shape, scale=self.scale)


def survival(age: ArrayLike, *, shape: ArrayLike, scale: ArrayLike) -> Numbers:
    """Return exp(-(age / scale)^shape), arrays joined as numpy does."""
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(np.exp(-((np.asarray(age, float) / scale) ** np.asarray(shape, float))))


def quantile(share: ArrayLike, *, shape: ArrayLike, scale: ArrayLike) -> Numbers:
    """Return the age by which `share` (0..1) have had the event, arrays joined as numpy does."""
    with np.errstate(divide="ignore"):
        return np.asarray(scale * (-np.log1p(-np.asarray(share, float))) ** (1 / np.asarray(shape, float)))


def log_likelihood(
    shape: float, scale: float, *, entry: ArrayLike | None, lower: ArrayLike, upper: ArrayLike,
    count: ArrayLike | None = None,
) -> float:  # fmt: skip
    """Return the log-likelihood of rows of shape (n,) at a given shape and scale; raises as `estimate` on bad rows."""
    if not (0 < shape < np.inf and 0 < scale < np.inf):
        raise EstimateError(
            f"shape {shape} and scale {scale} are no Weibull", where="shape, scale", remedy="both must be above 0"
        )
    rows = design(observe(entry, lower, upper, count=count), float(np.log(scale)))
    return value(rows, np.array([np.log(shape), 0.0]))


def estimate(
    entry: ArrayLike | None, lower: ArrayLike, upper: ArrayLike, count: ArrayLike | None = None
) -> WeibullEstimate:
    """Return the maximum-likelihood Weibull of rows (n,), in the time unit they come in.

    lower == upper is an exact age, upper = inf right-censored, lower = 0 with finite upper left-censored; `entry`
    (None: 0) is the age at which a row came under observation; `count` says how often each row stands.
    Raises EstimateError on bad rows and where no finite maximum exists.
    Damped Newton in log shape and the log cumulative hazard at a typical age, from the best of a profile over shapes.
    """
    given = observe(entry, lower, upper, count=count)
    seen = _informative(given)
    _refuse_certain(seen)
    reference, spread = _centre(seen)
    rows = design(seen, reference)
    start = _best_start(_thinned(seen), reference, spread)
    theta, here = _top(rows, start)
    _refuse_flat(rows, theta, here, spread)
    return _record(rows, theta, here, given)


def draws(made: WeibullEstimate, count: int, seed: int | Sequence[int]) -> Numbers:
    """Return `count` Laplace draws (count, 2) of (log shape, log scale), normal with the estimate's covariance."""
    centre = np.log([made.shape, made.scale])
    root = np.linalg.cholesky(made.covariance)
    return np.asarray(centre + np.random.default_rng(seed).standard_normal((count, 2)) @ root.T)


def _informative(seen: Observations) -> Observations:
    """Drop rows that were censored on entry: they say nothing."""
    kept = seen.is_event | (seen.lower > seen.entry)
    return seen.chosen(kept).aggregated() if kept.any() else seen.chosen(kept)


def _refuse_certain(seen: Observations) -> None:
    """Refuse rows that a jump of the hazard at one age explains wholly: the likelihood grows without end there."""
    if not seen.is_event.any():
        raise _no_maximum("there is no event: every life is right-censored, and the scale runs to infinity")
    survived = seen.lower > seen.entry
    last_survived = float(seen.lower[survived].max(initial=0.0))
    first_end = float(seen.upper.min())
    if last_survived > first_end:
        return
    if last_survived == 0:
        raise _no_maximum("every event is left-censored and no life is known to have lasted: the scale runs to 0")
    if seen.is_exact[seen.is_event].all() and last_survived == first_end:
        raise _no_maximum(f"every event is at the one age {first_end:g}: the shape runs to infinity")
    raise _no_maximum(
        f"one age from {last_survived:g} to {first_end:g} would explain every row: the shape runs to infinity"
    )


def _no_maximum(why: str) -> EstimateError:
    return EstimateError(
        f"no finite maximum of the likelihood exists: {why}",
        where="all rows together",
        remedy="wait for more events, join classes, or use a bound without an estimate",
    )


def _centre(seen: Observations) -> tuple[float, float]:
    """Return the mean log age of the events' ends and the spread of all log ages: any time unit will do."""
    ends = np.log(seen.upper[seen.is_event])
    reference = float(np.average(ends, weights=seen.count[seen.is_event]))
    begins = np.log(seen.lower[seen.lower > 0])
    spread = float(np.concatenate((ends, begins)).std())
    return reference, spread if spread > 0 else 1.0


def _thinned(seen: Observations) -> Observations:
    """Return at most about `_START_ROWS` rows spread evenly over the sorted ones."""
    return seen.chosen(np.arange(0, seen.count.size, 1 + seen.count.size // _START_ROWS))


def _best_start(seen: Observations, reference: float, spread: float) -> Numbers:
    """Return the best of the profile over shapes: with late entry the likelihood may have more than one hill."""
    rows = design(seen, reference)
    best, top = np.zeros(2), -np.inf
    for shapes in (_SHAPES[_SHAPES >= 1], _SHAPES[_SHAPES < 1][::-1]):
        for shape in shapes:
            theta = _level_climbed(rows, np.log(shape / spread), until=_ROUGHLY)
            height = value(rows, theta)
            if height > top:
                best, top = theta, height
            elif height < top - _FAR_BELOW:
                break
    return climbed(rows, best, until=_ROUGHLY)


def _level_climbed(rows: Design, log_shape: float, *, until: float = 1e-9) -> Numbers:
    """Return the best level at one shape, from the level at which events equal the hazard lived through."""
    start = np.array([log_shape, level_of_total(rows, log_shape)])
    return climbed(rows, start, free=(1,), until=until)


def climbed(rows: Design, start: Numbers, free: tuple[int, ...] = (0, 1), until: float = 1e-12) -> Numbers:
    """Climb to the maximum in the `free` coordinates of theta by damped Newton steps; stays where it cannot rise."""
    return _top(rows, start, free, until)[0]


def _top(rows: Design, start: Numbers, free: tuple[int, ...] = (0, 1), until: float = 1e-12) -> tuple[Numbers, Slopes]:
    """Climb as `climbed` does; return where it ends and the slopes there."""
    theta, index = np.array(start, dtype=float), np.array(free)
    here = slopes(rows, theta)
    for _ in range(_STEPS):
        gradient, hessian = here.gradient[index], here.hessian[np.ix_(index, index)]
        if not (np.isfinite(gradient).all() and np.isfinite(hessian).all()):
            break
        step = _newton_step(gradient, hessian)
        rise = float(step @ gradient)
        ahead = _stepped(rows, theta, step, index, here.value)
        if ahead is None:
            break
        theta, here = ahead
        if rise < until * (1 + abs(here.value)):
            break
    return theta, here


def _newton_step(gradient: Numbers, hessian: Numbers) -> Numbers:
    """Return the Newton step with eigenvalues turned to curve downwards, no coordinate moved by more than 2."""
    size = np.sqrt(np.maximum(np.abs(np.diag(hessian)), 1e-200))  # less, and what is divided by it would run over
    values, vectors = np.linalg.eigh(-hessian / np.outer(size, size))
    turned = np.maximum(np.abs(values), 1e-10)
    step = vectors @ ((vectors.T @ (gradient / size)) / turned) / size
    return np.asarray(step * min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300)))


def _stepped(
    rows: Design, theta: Numbers, step: Numbers, index: NDArray[np.intp], from_value: float
) -> tuple[Numbers, Slopes] | None:
    """Halve the step until the likelihood does not fall, and return where that is; None: no step is left."""
    for halvings in range(40):
        ahead = theta.copy()
        ahead[index] += step * 0.5**halvings
        here = slopes(rows, ahead)
        if here.value >= from_value and (ahead != theta).any():
            return ahead, here
    return None


def _refuse_flat(rows: Design, theta: Numbers, here: Slopes, spread: float) -> None:
    """Refuse a climb that ran away, and a hill no higher than the limit of shapes near 0."""
    shape = float(np.exp(theta[0])) * spread
    top, plain = here.value, _flattest(rows, np.log(_SHAPES[0] / spread), until_below=here.value)
    if shape < 10 * _SHAPES[0] or plain >= top - 1e-10 * (1 + abs(top)):
        raise _no_maximum("events come no later than survivals: the shape runs to 0")
    hessian = here.hessian
    size = np.sqrt(np.maximum(-np.diag(hessian), 0.0))
    if not (size > 0).all() or np.linalg.eigvalsh(-hessian / np.outer(size, size)).min() < 1e-9:
        raise _no_maximum("the likelihood is flat: these ages do not tell shape from scale")
    if shape > _SHAPES[-1] or not abs(rows.reference - theta[1] / np.exp(theta[0])) < 700:
        raise _no_maximum("shape or scale runs beyond what a number can hold")


def _flattest(rows: Design, log_shape: float, *, until_below: float) -> float:
    """Return the log-likelihood of the best level at this shape, or of one so far below that the best is below too.

    In the level it is concave: a Newton step promises half of gradient^2 / curvature; ten times that is left as room.
    """
    start = np.array([log_shape, level_of_total(rows, log_shape)])
    here = slopes(rows, start)
    promise = here.gradient[1] ** 2 / max(-float(here.hessian[1, 1]), 1e-300)
    if here.value + 5.0 * promise + 1.0 < until_below:
        return here.value
    return value(rows, climbed(rows, start, free=(1,), until=1e-9))


def _record(rows: Design, theta: Numbers, here: Slopes, given: Observations) -> WeibullEstimate:
    """Turn (log shape b, level c) into shape and scale: ln scale = reference - c exp(-b)."""
    shape = float(np.exp(theta[0]))
    turn = np.array([[1.0, 0.0], [theta[1] / shape, -1 / shape]])
    covariance = turn @ np.linalg.inv(-here.hessian) @ turn.T
    covariance.setflags(write=False)
    return WeibullEstimate(
        shape=shape,
        scale=float(np.exp(rows.reference - theta[1] / shape)),
        covariance=covariance,
        log_likelihood=here.value,
        life_count=_whole(given.life_count),
        event_count=_whole(given.event_count),
    )


def _whole(count: float) -> float:
    """Return a whole count as an integer."""
    return int(count) if count == int(count) else count
