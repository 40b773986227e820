"""The age by which one in ten shows an indication, by a plain Weibull, with its interval or the reason for none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np

from bobstay import weibull
from bobstay.errors import EstimateError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]

SHARE = 0.1
_LONGEST = 690.0  # ln years: what is more no number holds


@dataclass(frozen=True, slots=True)
class PlainAge:
    """B10 with its interval (nan: none, and why), from so many lives and events."""

    life_count: int
    event_count: int
    value: float
    lower: float
    upper: float
    why_none: str

    def columns(self, prefix: str = "") -> dict[str, float]:
        """Return the three ages under their names in the tables."""
        name = f"{prefix}b10_years"
        return {name: self.value, f"{name}_lower": self.lower, f"{name}_upper": self.upper}


def plain_age(entry: Floats, lower: Floats, upper: Floats, *, settings: Settings, name: str) -> PlainAge:
    """Return B10 of rows (n,) by maximum likelihood; limits from Laplace draws seeded by `name`.

    Below minimum_events no number is given.
    """
    events, least = int(np.isfinite(upper).sum()), settings.estimate.minimum_events
    if events < least:
        return _none(len(upper), events, f"fewer than {least} indications")
    try:
        made = weibull.estimate(entry, lower, upper)
        seed = (settings.estimate.seed, crc32(name.encode()))
        drawn = weibull.draws(made, settings.estimate.draws, seed)
    except EstimateError as fault:
        return _none(len(upper), events, fault.what)
    except np.linalg.LinAlgError:
        return _none(len(upper), events, "the likelihood is too flat for an interval")
    cover = settings.estimate.interval
    ages = _ages_of(drawn)
    low, high = np.quantile(ages, [(1 - cover) / 2, (1 + cover) / 2])
    return PlainAge(len(upper), events, float(made.quantile(SHARE)), float(low), float(high), "")


def _ages_of(drawn: Floats) -> Floats:
    """Return the age of SHARE of draws (n, 2) of log shape and log scale; finite also where a draw runs away."""
    with np.errstate(over="ignore"):  # a shape near 0: an age of 0
        log_ages = drawn[:, 1] + np.log(-np.log1p(-SHARE)) * np.exp(-drawn[:, 0])
    return np.asarray(np.exp(np.minimum(log_ages, _LONGEST)))


def _none(lives: int, events: int, why: str) -> PlainAge:
    return PlainAge(lives, events, np.nan, np.nan, np.nan, why)
