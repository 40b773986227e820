"""One life under imperfect detection: the age at which a crack began is never seen, only what looks showed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import logsumexp

from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    Numbers = NDArray[np.float64]

_RULED_OUT = -60.0  # log chance of a state that a follow-up excluded: small, yet a mistaken one is not fatal
_WORDS = {"no_indication": 0.0, "clear": 0.0, "relevant": 1.0, "indication": 1.0, "failed": 1.0}


def log_likelihood(  # noqa: PLR0917 - the order is promised to outsiders
    shape: float, scale: float, ages: ArrayLike, results: Sequence[int | bool | str] | ArrayLike, found: ArrayLike,
    false_call: ArrayLike, entry: float = 0.0, *, dispositions: Sequence[str | None] | None = None, rho: float = 0.5,
) -> float:  # fmt: skip
    """Return the log-likelihood of one life's looks when the crack begins at a Weibull age.

    `ages` (n,) of the looks, in time order; `results` (n,) 1 or an indication, 0 or no_indication (a part that
    failed is a confirmed indication); `found` and `false_call`, one number or (n,): chance that a look shows a crack
    that is there, and one that is not. `dispositions` (n,): confirmed and unfounded settle a finding.
    With the looks up to j made on a sound part and the rest on a cracked one (weights w_j), L = sum w_j (S(t_j) -
    S(t_j+1)): Gu, Ma and Balasubramanian 2015. entry > 0: a life first known at that age, whose earlier crack had
    been taken out with chance rho. -inf where the results are impossible. Raises EstimateError on bad numbers.
    """
    marks, settled = _read(results, dispositions)
    ages = np.atleast_1d(np.asarray(ages, dtype=float)) if np.size(ages) else np.zeros(0)
    _check(shape=shape, scale=scale, ages=ages, marks=marks, entry=entry, rho=rho)
    sound, cracked = _log_chances(marks, settled, _rates(found, "found", ages), _rates(false_call, "false_call", ages))
    removed = 0.0
    if entry > 0:
        ages = np.concatenate(([entry], ages))
        sound = np.concatenate(([0.0], sound))
        with np.errstate(divide="ignore"):
            cracked = np.concatenate(([np.log1p(-rho)], cracked))
        removed = float(np.log1p(-rho * -np.expm1(-((entry / scale) ** shape))))
    return _log_sum(shape, scale, ages, sound, cracked) - removed


def _log_sum(shape: float, scale: float, ages: Numbers, sound: Numbers, cracked: Numbers) -> float:
    """Sum over the gap between looks in which the crack began, the last gap without end."""
    weights = np.concatenate(([0.0], np.cumsum(sound))) + np.concatenate((np.cumsum(cracked[::-1])[::-1], [0.0]))
    hazard = np.concatenate(([0.0], (ages / scale) ** shape))
    with np.errstate(divide="ignore"):
        begins = np.append(np.log(-np.expm1(-np.diff(hazard))), 0.0) - hazard
    return float(logsumexp(weights + begins)) if np.isfinite(weights + begins).any() else -np.inf


def _read(
    results: Sequence[int | bool | str] | ArrayLike, dispositions: Sequence[str | None] | None
) -> tuple[Numbers, Numbers]:
    """Return results as 0 or 1, and what settles them: 1 cracked, -1 sound, 0 open."""
    words = np.atleast_1d(np.asarray(results, dtype=object)) if np.size(results) else np.zeros(0, dtype=object)
    marks = np.array([_WORDS.get(w, np.nan) if isinstance(w, str) else float(w) for w in words])
    failed = np.array([w == "failed" for w in words], dtype=float)
    if not np.isin(marks, (0.0, 1.0)).all():
        raise _bad("results", "each must be 0 or 1, no_indication, relevant or failed")
    if dispositions is None:
        return marks, failed
    if len(dispositions) != marks.size:
        raise _bad("dispositions", f"there are {len(dispositions)} for {marks.size} looks")
    verdicts = np.array([{"confirmed": 1.0, "unfounded": -1.0}.get(d or "", 0.0) for d in dispositions])
    return marks, np.where(failed == 1, 1.0, verdicts * marks)


def _log_chances(marks: Numbers, settled: Numbers, found: Numbers, false_call: Numbers) -> tuple[Numbers, Numbers]:
    """Return log P(result | sound) and log P(result | cracked) of each look."""
    with np.errstate(divide="ignore"):
        sound = np.where(marks == 1, np.log(false_call), np.log1p(-false_call))
        cracked = np.where(marks == 1, np.log(found), np.log1p(-found))
    return np.where(settled > 0, _RULED_OUT, sound), np.where(settled < 0, _RULED_OUT, cracked)


def _rates(values: ArrayLike, name: str, ages: Numbers) -> Numbers:
    numbers = np.asarray(values, dtype=float)
    if numbers.shape not in {(), ages.shape} or not ((numbers >= 0) & (numbers <= 1)).all():
        raise _bad(name, f"must be one number or one for each of {ages.size} looks, from 0 to 1")
    return np.broadcast_to(numbers, ages.shape)


def _check(*, shape: float, scale: float, ages: Numbers, marks: Numbers, entry: float, rho: float) -> None:
    if not (0 < shape < np.inf and 0 < scale < np.inf):
        raise _bad("shape, scale", "both must be finite and above 0")
    if ages.shape != marks.shape:
        raise _bad("results", f"there are {marks.size} for {ages.size} ages")
    if not (np.isfinite(ages) & (ages >= 0)).all() or (np.diff(ages) < 0).any():
        raise _bad("ages", "must be finite, not negative, and in order")
    if not 0 <= entry < np.inf or (ages < entry).any():
        raise _bad("entry", "must be finite, not negative, and not after a look")
    if not 0 <= rho <= 1:
        raise _bad("rho", "must lie from 0 to 1")


def _bad(name: str, rule: str) -> EstimateError:
    return EstimateError(f"{name}: {rule}", where=name, remedy="mend the numbers given")
