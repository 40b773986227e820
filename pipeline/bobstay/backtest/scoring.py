"""Scores of each season by each way of ordering: one row an origin and a ranking."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay import scores
from bobstay.backtest.origin import FEWEST_FINDINGS
from bobstay.backtest.season import CHANCED, RANKINGS
from bobstay.tables import BACKTEST

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.backtest.season import Season

TOO_FEW = f"fewer than {FEWEST_FINDINGS} findings, or nothing else: not scored"
ORDER_ONLY = "an order only: it gives no chance to score"


def score(season: Season) -> pd.DataFrame:
    """Score every way of ordering the fittings against one season's looks (tables.BACKTEST rows)."""
    rows = [_row(season, ranking) for ranking in RANKINGS]
    return pd.DataFrame(rows, columns=list(BACKTEST.column_names))


def is_scored(season: Season) -> bool:
    """Tell whether a season holds enough of both kinds to be scored."""
    return bool(season.order) and int(season.seen.sum()) >= FEWEST_FINDINGS and not season.seen.all()


def _row(season: Season, ranking: str) -> dict[str, Any]:
    seen = season.seen
    row: dict[str, Any] = {"origin": season.day, "ranking": ranking, "looks": len(seen), "found": int(seen.sum())}
    if not is_scored(season):
        return row | {"note": TOO_FEW}
    order = season.order[ranking]
    row |= {"top_tenth_share": scores.top_share(order, seen), "concordance": scores.concordance(order, seen)}
    row["looks_per_finding"] = looks_per_finding(row["top_tenth_share"], len(seen), int(seen.sum()))
    if ranking not in CHANCED:
        return row | {"note": ORDER_ONLY}
    chance = season.expected[ranking]
    intercept, slope = scores.calibration(chance, seen)
    return row | {
        "expected": float(chance.sum()),
        "brier": scores.brier(chance, seen),
        "log_score": scores.log_score(chance, seen),
        "calibration_slope": slope,
        "calibration_intercept": intercept,
    }


def looks_per_finding(share: float, looks: int, found: float) -> float:
    """Return how many looks at the first tenth of an order one finding costs; inf where it holds none."""
    held = share * found
    return 0.1 * looks / held if held > 0 else float("inf")


def table(scored: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return all origins as one table, empty where none could be looked back on."""
    if not scored:
        return pd.DataFrame(columns=list(BACKTEST.column_names))
    return pd.concat([frame.astype(object) for frame in scored], ignore_index=True).replace({np.nan: None})
