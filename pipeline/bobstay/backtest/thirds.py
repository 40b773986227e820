"""The last season checked: did the top third of the list hold more findings than the bottom third?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay import bounds
from bobstay.backtest.season import ESTIMATE
from bobstay.tables import BACKTEST_THIRDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.backtest.season import Season

THIRDS = ("top", "middle", "bottom")


def thirds(seasons: Sequence[Season], *, cover: float) -> pd.DataFrame:
    """Return tables.BACKTEST_THIRDS: by origin and third of its looks in the estimate's order, what was found.

    The interval is the exact one of a share (Clopper and Pearson 1934).
    """
    rows = [row for season in seasons if season.order for row in _of_season(season, cover)]
    return pd.DataFrame(rows, columns=list(BACKTEST_THIRDS.column_names))


def _of_season(season: Season, cover: float) -> list[dict[str, Any]]:
    first = np.lexsort((season.fitting.astype(str), season.boat.astype(str), -season.order[ESTIMATE]))
    rows = []
    for name, part in zip(THIRDS, np.array_split(first, len(THIRDS)), strict=True):
        looks, found = len(part), int(season.seen[part].sum())
        low, high = bounds.share_limits(found, looks, cover=cover) if looks else (0.0, 1.0)
        rows.append({
            "origin": season.day, "third": name, "looks": looks, "found": found,
            "expected": float(season.expected[ESTIMATE][part].sum()),
            "share": found / looks if looks else None, "share_lower": low, "share_upper": high,
        })  # fmt: skip
    return rows
