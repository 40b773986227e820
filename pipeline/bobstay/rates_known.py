"""What each method is taken to show: the estimated rates where looks were made, else the settings'."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.settings import Rates, Settings

if TYPE_CHECKING:
    import pandas as pd

    Pair = tuple[str, str]


def rates_known(detection: pd.DataFrame | None, settings: Settings) -> dict[Pair, Rates]:
    """Return the rates of every (method, scope): as estimated in `detection` (tables.DETECTION), else as set."""
    known = dict(settings.detection)
    if detection is None:
        return known
    told = detection.dropna(subset=["found", "false_call"])
    for row in told.itertuples(index=False):
        pair = (str(row.method), str(row.scope))
        known[pair] = Rates(float(row.found), float(row.false_call), known[pair].weight)  # type: ignore[arg-type]
    return known
