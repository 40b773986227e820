"""Rolling origins: estimate on what was known then, score what the looks of the following year found."""

from __future__ import annotations

from bobstay.backtest.origin import FEWEST_FINDINGS, Origin, is_worth_scoring, origins
from bobstay.backtest.scoring import score, table
from bobstay.backtest.season import Season, season_after, season_not_scored
from bobstay.backtest.thirds import thirds
from bobstay.backtest.verdict import by_method, verdicts

__all__ = [
    "FEWEST_FINDINGS",
    "Origin",
    "Season",
    "by_method",
    "is_worth_scoring",
    "origins",
    "score",
    "season_after",
    "season_not_scored",
    "table",
    "thirds",
    "verdicts",
]
