"""The estimate: from lives and looks to classes, rates, curves and chances."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.estimate.record import Estimates

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from bobstay.settings import Settings

__all__ = ["Estimates", "estimate"]


def estimate(
    lives: pd.DataFrame, looks: pd.DataFrame, boats: pd.DataFrame, *, as_of: date, settings: Settings
) -> Estimates:
    """Estimate as the settings say, from tables.LIVES, tables.LIFE_LOOKS and the boats as stored by ingest.

    Perfect detection without pooling and boat effect is the plain Weibull of each class; all else is the joint model.
    """
    how = settings.estimate
    if how.detection == "perfect" and how.pooling == "none" and not how.boat_effect:
        from bobstay.estimate.plain import estimate_plain

        return estimate_plain(lives, looks, boats, as_of=as_of, settings=settings)
    from bobstay.estimate.imperfect import estimate_imperfect

    return estimate_imperfect(lives, looks, boats, as_of=as_of, settings=settings)
