"""What a careful spreadsheet would do: days of findings taken for days of cracks, and late joining ignored."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bobstay import weibull
from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Words = NDArray[np.object_]


def spreadsheet_hazard(lives: pd.DataFrame) -> Callable[[Words, Words, Floats], Floats]:
    """Return a function of fitting types, materials and ages, shapes (n,), that gives the cumulative hazard.

    A plain Weibull a class; a class that has none takes that of all lives together, and that failing a hazard of 0.
    """
    upper, lower = lives["upper_years"].to_numpy(float), lives["lower_years"].to_numpy(float)
    at = np.where(np.isfinite(upper), upper, lower)
    is_event = np.isfinite(upper)
    told = np.isfinite(at) & (at > 0)
    classes = list(zip(lives["fitting_type"], lives["material"], strict=True))
    numbers = {key: i for i, key in enumerate(sorted(set(classes)))}
    index = np.array([numbers[key] for key in classes], dtype=np.intp)
    whole = _weibull(at[told], is_event[told])
    own = {key: _weibull(at[told & (index == i)], is_event[told & (index == i)]) for key, i in numbers.items()}

    def hazard(kinds: Words, materials: Words, ages: Floats) -> Floats:
        made = [own.get(key) or whole for key in zip(kinds, materials, strict=True)]
        shape = np.array([m[0] if m else 1.0 for m in made])
        scale = np.array([m[1] if m else np.inf for m in made])
        return np.asarray((np.maximum(ages, 0.0) / scale) ** shape)

    return hazard


def _weibull(at: Floats, is_event: NDArray[np.bool_]) -> tuple[float, float] | None:
    try:
        made = weibull.estimate(np.zeros(len(at)), at, np.where(is_event, at, np.inf))
    except EstimateError:
        return None
    return made.shape, made.scale
