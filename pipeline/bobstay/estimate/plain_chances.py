"""The chance of each fitting in service, given its last clear look, from the curve of its class."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.tables import CHANCES, checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings
    from bobstay.weibull import WeibullEstimate

    Numbers = NDArray[np.float64]

LIVES_READ = (  # columns of lives
    *("life_id", "fitting_type", "material", "is_in_service", "age_years", "age_basis"),
    *("ranking_clear_years", "open_indication_on"),
)
_AT_ONCE = 1000  # lives by draws in one block: 16 MB
_MOST_WORK = 50_000_000  # lives times draws of a whole fleet, about 5 s; beyond, fewer draws a life
_LEAST_DRAWS = 400


@dataclass(frozen=True, slots=True)
class Curve:
    """An estimate with its draws (n, 2) of (log shape, log scale)."""

    made: WeibullEstimate
    draws: Numbers


# Of each class (fitting_type, material): its curve, the basis and the words for it.
Curves = dict[tuple[str, str], tuple[Curve | None, str, str]]


def no_chances() -> pd.DataFrame:
    """Return tables.CHANCES without a row."""
    return checked(pd.DataFrame(columns=list(CHANCES.column_names)), CHANCES)


def chances_table(
    lives: pd.DataFrame, curves: Curves, settings: Settings, *, serving_count: int | None = None
) -> pd.DataFrame:
    """Return tables.CHANCES of the lives in service; of `lives` the columns LIVES_READ are read.

    Chance = 1 - S(age + horizon) / S(age at the last clear look that still counts), 1 for an open indication.
    `serving_count`: lives in service of the whole fleet, where `lives` is but a piece of it. The more there are, the
    fewer draws each gets, so that a piece comes out as it would with all.
    """
    in_service = lives[lives["is_in_service"].astype(bool)]
    most = max(_LEAST_DRAWS, _MOST_WORK // max(len(in_service) if serving_count is None else serving_count, 1))
    parts = [
        _class_chances(group, curves[_class_of(group)], most, settings=settings)
        for _, group in in_service.groupby(["fitting_type", "material"], sort=True)
    ]
    return checked(pd.concat(parts, ignore_index=True), CHANCES) if parts else no_chances()


def _class_of(group: pd.DataFrame) -> tuple[str, str]:
    return str(group["fitting_type"].iloc[0]), str(group["material"].iloc[0])


def _class_chances(
    group: pd.DataFrame, found: tuple[Curve | None, str, str], most: int, *, settings: Settings
) -> pd.DataFrame:
    curve, basis, words = found
    age = group["age_years"].to_numpy(dtype=float)
    clear = np.nan_to_num(group["ranking_clear_years"].to_numpy(dtype=float, na_value=np.nan), nan=0.0)
    columns = _no_numbers(len(group)) if curve is None else _told_apart(curve, clear, age, most, settings)
    is_open = group["open_indication_on"].notna().to_numpy()
    for name, values in columns.items():
        columns[name] = np.where(is_open, 0.0 if name == "logit_sd" else 1.0, values)
    notes = np.where(group["age_basis"].to_numpy() == "at_least", "; the part may be older than its records", "")
    return pd.DataFrame(
        {
            "life_id": group["life_id"].to_numpy(),
            **columns,
            "chance_if_oldest": np.nan,
            "chance_if_newest": np.nan,
            "basis": np.where(is_open, "own", basis),
            "model": [_words(words, note, is_open=o) for note, o in zip(notes, is_open.tolist(), strict=True)],
        }
    )


def _words(words: str, note: str, *, is_open: bool) -> str:
    return "an indication is open" if is_open else f"{words}{note}"


def _no_numbers(count: int) -> dict[str, Numbers]:
    return {n: np.full(count, np.nan) for n in ("chance", "chance_lower", "chance_upper", "chance_now", "logit_sd")}


def _told_apart(curve: Curve, clear: Numbers, age: Numbers, most: int, settings: Settings) -> dict[str, Numbers]:
    """Return the chances of lives, each pair of ages worked out once: many parts went in, and were seen, together."""
    pair = clear + 1j * age  # sorted by the one, then by the other
    _, first, lives = np.unique(pair, return_index=True, return_inverse=True, equal_nan=False)
    columns = _numbers(curve, clear[first], age[first], most=most, settings=settings)
    return {name: values[lives] for name, values in columns.items()}


def _numbers(curve: Curve, clear: Numbers, age: Numbers, *, most: int, settings: Settings) -> dict[str, Numbers]:
    """Return chances with limits and spread from at most `most` draws, a block of lives at a time."""
    cover, by = settings.estimate.interval, age + settings.horizon_years
    centre = np.log([[curve.made.shape, curve.made.scale]])
    columns = _no_numbers(age.size)
    columns["chance"] = _chance(centre, clear, by)[:, 0]
    columns["chance_now"] = _chance(centre, clear, age)[:, 0]
    for start in range(0, age.size, _AT_ONCE):
        block = slice(start, start + _AT_ONCE)
        drawn = _chance(curve.draws[:most], clear[block], by[block])
        columns["logit_sd"][block] = _logit(drawn).std(axis=1)
        ends = [(1 - cover) / 2, (1 + cover) / 2]
        columns["chance_lower"][block], columns["chance_upper"][block] = np.quantile(
            drawn, ends, axis=1, overwrite_input=True
        )
    return columns


def _chance(logs: Numbers, clear: Numbers, by: Numbers) -> Numbers:
    """Return 1 - S(by) / S(clear), lives (n,) by draws (m, 2) of (log shape, log scale)."""
    shape, scale = np.exp(logs[:, 0]), np.exp(logs[:, 1])
    with np.errstate(over="ignore"):
        hazard = (by[:, None] / scale) ** shape - (np.minimum(clear, by)[:, None] / scale) ** shape
    return np.asarray(-np.expm1(-hazard))


def _logit(chance: Numbers) -> Numbers:
    kept = np.clip(chance, 1e-12, 1 - 1e-12)
    return np.asarray(np.log(kept) - np.log1p(-kept))
