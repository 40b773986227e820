"""Rolling origins: estimate on what was known then, score what the looks of the following year found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay import scores
from bobstay.tables import BACKTEST

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

ORIGINS = 5  # seasons looked back on
FEWEST_FINDINGS = 5  # below this an origin is listed with its counts and no scores


@dataclass(frozen=True, slots=True)
class Origin:
    """What was known on one day: lives, looks and chances as they then stood."""

    day: date
    lives: pd.DataFrame
    chances: pd.DataFrame
    detection: pd.DataFrame


def origins(as_of: date, *, first_look: date) -> list[date]:
    """Return the days to look back from, newest first, that have at least three years of records before them."""
    days = [_years_before(as_of, n) for n in range(1, ORIGINS + 1)]
    return [d for d in days if (d - first_look).days >= 3 * 365.25]


def _years_before(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:  # the 29th of February
        return day.replace(year=day.year - years, day=28)


def score(origin: Origin, looks: pd.DataFrame) -> pd.DataFrame:
    """Score three orders of the fittings against the looks of the year after `origin.day` (tables.BACKTEST rows).

    A look counts where the part was in service at the origin without an open indication and the look was valid;
    `seen` is an indication of any verdict, predicted as found * p + false_call * (1 - p). p runs in a line from
    chance_now to chance over the year.
    """
    season = _season(origin, looks)
    seen = season["seen"].to_numpy(bool)
    predicted = season["predicted"].to_numpy(float)
    rankings = {
        "estimate": predicted,
        "oldest_first": season["age_years"].to_numpy(float),
        "longest_since_a_look": season["waited"].to_numpy(float),
    }
    rows = [_row(origin.day, name, order, seen, predicted) for name, order in rankings.items()]
    return pd.DataFrame(rows, columns=list(BACKTEST.column_names))


def _season(origin: Origin, looks: pd.DataFrame) -> pd.DataFrame:
    start = pd.Timestamp(origin.day)
    on = pd.to_datetime(looks["look_on"])
    after = looks[(on > start) & (on <= start + pd.DateOffset(years=1)) & looks["shows"].isin(["clear", "indication"])]
    known = origin.lives[origin.lives["is_in_service"] & origin.lives["open_indication_on"].isna()]
    known = known[["life_id", "age_years", "last_valid_look"]].merge(
        origin.chances[["life_id", "chance", "chance_now"]], on="life_id", validate="one_to_one"
    )
    rates = origin.detection[["method", "scope", "found", "false_call"]]
    season = after.merge(known, on="life_id", validate="many_to_one")
    season = season.merge(rates, on=["method", "scope"], validate="many_to_one").dropna(subset=["chance"])
    part = (pd.to_datetime(season["look_on"]) - start).dt.days / 365.25
    p = season["chance_now"] + (season["chance"] - season["chance_now"]) * part
    waited = (start - pd.to_datetime(season["last_valid_look"])).dt.days
    return season.assign(
        seen=season["shows"] == "indication",
        predicted=season["found"] * p + season["false_call"] * (1 - p),
        waited=waited.fillna(season["age_years"] * 365.25),
    )


def _row(day: date, name: str, order: np.ndarray[Any, Any], seen: np.ndarray[Any, Any], predicted: Any) -> list[Any]:
    counts = [day, name, len(seen), int(seen.sum())]
    if seen.sum() < FEWEST_FINDINGS or seen.all():
        return [*counts, *[np.nan] * 6, f"fewer than {FEWEST_FINDINGS} findings, or nothing else: not scored"]
    top, above = scores.top_share(order, seen), scores.concordance(order, seen)
    if name != "estimate":
        return [*counts, np.nan, top, np.nan, np.nan, above, np.nan, "an order only: it gives no chance to score"]
    slope = scores.calibration_slope(predicted, seen)
    spread = [float(predicted.sum()), top, scores.brier(predicted, seen), scores.log_score(predicted, seen)]
    return [*counts, *spread, above, slope, None]


def table(scored: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Return all origins as one table, empty where none could be looked back on."""
    if not scored:
        return pd.DataFrame(columns=list(BACKTEST.column_names))
    return pd.concat([frame.astype(object) for frame in scored], ignore_index=True)
