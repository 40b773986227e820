"""The estimate: from lives and looks to classes, rates, curves and chances."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.estimate.record import Estimates

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from bobstay.settings import Settings

__all__ = ["Estimates", "counts_looks", "estimate"]


def counts_looks(settings: Settings) -> bool:
    """Say whether the estimate only counts the looks: the plain one learns all it needs from the lives."""
    how = settings.estimate
    return how.detection == "perfect" and how.pooling == "none" and not how.boat_effect


def estimate(
    lives: pd.DataFrame, looks: pd.DataFrame, boats: pd.DataFrame, *, as_of: date, settings: Settings
) -> Estimates:
    """Estimate as the settings say, from tables.LIVES, tables.LIFE_LOOKS and the boats as stored by ingest.

    Perfect detection without pooling and boat effect is the plain Weibull of each class; all else is the joint model.
    Where looks are but counted (`counts_looks`) they may come as in queries/look_counts.sql instead.
    """
    if counts_looks(settings):
        from bobstay.estimate.plain import estimate_plain

        return estimate_plain(lives, looks, boats, as_of=as_of, settings=settings)
    from bobstay.estimate.imperfect import estimate_imperfect, seen_by

    seen = seen_by(lives, looks, boats, settings=settings)
    del looks  # ten million take 700 MB, which the estimate has use for
    return estimate_imperfect(seen, settings=settings)
