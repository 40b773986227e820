"""What sets boats and places apart: water, climate, use and passing through the deck, centred over the lives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
# The first word of each is what the others are compared with.
LEVELS = {"water": ("salt", "brackish", "fresh"), "climate": ("temperate", "cold", "warm")}
SERVICES = ("private", "charter", "school", "club")
LEAST_HOURS = 1.0  # a boat said to sail less has no logarithm to speak of
KNOWN_SHARE = 0.5  # hours are used where at least so many boats state them, else what the boat is used for


@dataclass(frozen=True, slots=True)
class Covariates:
    """By life (n, q), centred on the lives in use; by boat (G, q), 0 where a column is of the fitting; their names."""

    names: tuple[str, ...]
    by_life: Floats
    by_boat: Floats
    is_of_boat: NDArray[np.bool_]


def covariates_of(
    lives: pd.DataFrame, boats: pd.DataFrame, boat_index: NDArray[np.intp], used: NDArray[np.bool_]
) -> Covariates:
    """Return the covariates of `lives`; `boats` has one row a boat number, `used` marks the lives that are estimated.

    What is not stated takes the mean; a column that never varies is left out.
    """
    columns = boat_columns(boats)
    raw = [values[boat_index] for values in columns.values()]
    through = lives["through_deck"].astype("boolean").astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    kept, by_life, by_boat = [], [], []
    for name, values in zip([*columns, "through_deck"], [*raw, through], strict=True):
        known = values[used & ~np.isnan(values)]
        if not len(known) or known.min() == known.max():
            continue
        mean = known.mean()
        kept.append(name)
        by_life.append(np.nan_to_num(values - mean))
        by_boat.append(np.nan_to_num(columns[name] - mean) if name in columns else np.zeros(len(boats)))
    return Covariates(
        names=tuple(kept),
        by_life=np.stack(by_life, axis=1) if kept else np.zeros((len(lives), 0)),
        by_boat=np.stack(by_boat, axis=1) if kept else np.zeros((len(boats), 0)),
        is_of_boat=np.array([name != "through_deck" for name in kept], dtype=bool),
    )


def boat_columns(boats: pd.DataFrame) -> dict[str, Floats]:
    """Return the boats' covariates, not centred; NaN where not stated."""
    out: dict[str, Floats] = {}
    for name, words in LEVELS.items():
        out |= _indicators(boats[name], words)
    hours = boats["hours_per_year"].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    if len(hours) and np.isfinite(hours).mean() >= KNOWN_SHARE:
        return out | {"hours": np.log(np.maximum(hours, LEAST_HOURS))}
    return out | _indicators(boats["service"], SERVICES)


def _indicators(column: pd.Series[str], words: tuple[str, ...]) -> dict[str, Floats]:
    text = column.astype("string").str.lower()
    unknown = ~text.isin(words).fillna(False).to_numpy(dtype=bool)
    return {word: np.where(unknown, np.nan, (text == word).fillna(False).to_numpy(dtype=float)) for word in words[1:]}
