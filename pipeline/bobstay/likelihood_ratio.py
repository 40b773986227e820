"""Likelihood-ratio limits of a Weibull quantile: the check on faster intervals, right where the data are few."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import brentq
from scipy.special import gammaincinv

from bobstay.observations import observe
from bobstay.weibull import climbed, estimate
from bobstay.weibull_likelihood import design, value

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike

_WIDEST = 60.0  # limits further than this from the estimate, in log age, are given as 0 or inf


def quantile_limits(
    entry: ArrayLike | None, lower: ArrayLike, upper: ArrayLike, *, share: float, cover: float = 0.95,
    count: ArrayLike | None = None,
) -> tuple[float, float]:  # fmt: skip
    """Return the likelihood-ratio limits of the age by which `share` have had the event, at nominal `cover`.

    Rows (n,) and refusals as in `weibull.estimate`. The limits are the ages at which twice the fall of the
    log-likelihood, maximised over the shape, is the chi-square quantile on one degree of freedom (Wilks 1938);
    0 or inf where it never falls so far.
    """
    made = estimate(entry, lower, upper, count)
    seen = observe(entry, lower, upper, count=count).aggregated()
    level = float(np.log(-np.log1p(-share)))
    target = made.log_likelihood - float(gammaincinv(0.5, cover))
    shapes = {0.0: float(np.log(made.shape))}

    def excess(log_age: float) -> float:
        nearest = min(shapes, key=lambda known: abs(known - (log_age - centre)))
        rows = design(seen, log_age)
        theta = climbed(rows, np.array([shapes[nearest], level]), free=(0,))
        shapes[log_age - centre] = float(theta[0])
        return value(rows, theta) - target

    centre = float(np.log(made.quantile(share)))
    return _limit(excess, centre, -1.0), _limit(excess, centre, 1.0)


def _limit(excess: Callable[[float], float], centre: float, way: float) -> float:
    """Walk out from the estimate in growing steps until the fall suffices, then close in."""
    near, reach = centre, 0.02
    while reach <= _WIDEST:
        far = centre + way * reach
        if excess(far) < 0:
            return float(np.exp(brentq(excess, near, far, xtol=1e-10)))
        near, reach = far, reach * 1.5
    return 0.0 if way < 0 else float("inf")
