"""Ages at which a chance passes a limit, draw by draw. Arrays in, arrays out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_SHARES = _WEIGHTS / _WEIGHTS.sum()
_ROUNDING = 1e-9  # .05 x 100 is a little below 5
_LEAST_LEFT = 1e-300  # what is left is told from nothing down to here
_HALVINGS = 60  # of a bracket a few units of ln age wide: far below a day


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of one class, shape (n,): row 0 is the estimate itself. Years; boat effect on ln scale."""

    log_scale: Floats
    log_shape: Floats
    boat_sd: Floats

    def survival(self, age: Floats) -> Floats:
        """Return the share without an indication at `age` (n,), averaged over the spread of boats (Gauss-Hermite)."""
        with np.errstate(divide="ignore"):
            return self._survival(np.log(age))

    def _survival(self, log_age: Floats) -> Floats:
        shape = np.exp(self.log_shape)[:, None]
        scale = self.log_scale[:, None] + self.boat_sd[:, None] * _NODES
        hazard = np.exp(np.minimum(shape * (log_age[:, None] - scale), 700.0))
        return np.asarray(np.exp(-hazard) @ _SHARES, dtype=np.float64)

    def age_at(self, chance: Floats | float) -> Floats:
        """Return the age (n,) by which the chance of an indication since new reaches `chance` in (0, 1)."""
        return self._age_left(1 - np.broadcast_to(np.asarray(chance, dtype=np.float64), self.log_scale.shape))

    def _age_left(self, share: Floats) -> Floats:
        """Return the age (n,) at which no more than `share` (n,) in (0, 1) is without an indication.

        Bisection on ln age between the least and the greatest of the boats' own answers, which enclose the mean's.
        """
        own = np.log(-np.log(share)) / np.exp(self.log_shape)
        centres = self.log_scale[:, None] + self.boat_sd[:, None] * _NODES
        low, high = centres.min(axis=1) + own, centres.max(axis=1) + own
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            is_past = self._survival(middle) <= share
            low, high = np.where(is_past, low, middle), np.where(is_past, middle, high)
        return np.asarray(np.exp((low + high) / 2), dtype=np.float64)

    def wait_after(self, age: float, chance: float) -> Floats:
        """Return the years (n,) after a clear look at `age` until the chance since that look reaches `chance`.

        A draw by which hardly a part is clear at that age has a wait of 0, or nearly so.
        """
        then = self.survival(np.full_like(self.log_scale, age)) if age > 0 else np.ones_like(self.log_scale)
        return np.maximum(self._age_left(np.maximum((1 - chance) * then, _LEAST_LEFT)) - age, 0.0)


def ends(values: Floats, interval: float) -> tuple[float, float]:
    """Return the lower and upper quantile of all draws but the estimate itself (row 0), infinite ones included."""
    drawn = np.sort(values[1:] if len(values) > 1 else values)
    last = len(drawn) - 1
    low = drawn[int(np.floor((1 - interval) / 2 * last + _ROUNDING))]
    high = drawn[int(np.ceil((1 + interval) / 2 * last - _ROUNDING))]
    return float(low), float(high)


def half_seasons(years: float) -> float:
    """Round down to half years; unknown and infinite stay as they are."""
    return float(np.floor(years * 2) / 2) if np.isfinite(years) else years
