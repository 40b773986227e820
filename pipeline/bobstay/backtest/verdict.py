"""All seasons together: how far the estimate's order beats each habit, boats resampled, and the verdict in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay import scores
from bobstay.backtest.scoring import is_scored, looks_per_finding
from bobstay.backtest.season import CHANCED, ESTIMATE, RANKINGS
from bobstay.tables import BACKTEST_METHODS, BACKTEST_VERDICT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from bobstay.backtest.season import Season

    Floats = NDArray[np.float64]

RESAMPLES = 1000
SLOPE_RESAMPLES = 200
NAMES = {
    "plain_interval": "the plain interval model",
    "spreadsheet": "a spreadsheet that takes findings' days for the cracks'",
    "past_rate_for_all": "the past rate for all alike",
    "oldest_first": "oldest first",
    "longest_since_a_look": "longest since a look",
    "every_n_years": "a fixed interval for all",
}


def verdicts(seasons: Sequence[Season], *, cover: float, seed: int) -> pd.DataFrame:
    """Return tables.BACKTEST_VERDICT: all scored seasons together, a row a ranking.

    Boats are resampled with all their looks of all seasons (Efron and Tibshirani 1993, chapter 13); who stands in a
    season's first tenth is kept as it was. Each boat counts as often as it is drawn.
    """
    kept = [season for season in seasons if is_scored(season)]
    if not kept:
        return pd.DataFrame(columns=list(BACKTEST_VERDICT.column_names))
    looks = _Looks(kept)
    drawn = looks.resampled(RESAMPLES, seed)
    ends = ((1 - cover) / 2, (1 + cover) / 2)
    ours = looks.shares(ESTIMATE, drawn)
    return pd.DataFrame(
        [_row(looks, ranking, (drawn, ours), ends) for ranking in RANKINGS], columns=list(BACKTEST_VERDICT.column_names)
    )


class _Looks:
    """All looks of the scored seasons, end to end."""

    def __init__(self, seasons: Sequence[Season]) -> None:
        self.seasons = seasons
        self.seen = np.concatenate([s.seen for s in seasons])
        boats, self.boat = np.unique(np.concatenate([s.boat for s in seasons]).astype(str), return_inverse=True)
        self.boat_count = len(boats)
        self.taken = {r: np.concatenate([scores.taken(s.order[r]) for s in seasons]) for r in RANKINGS}
        self.chance = {r: np.concatenate([s.expected[r] for s in seasons]) for r in CHANCED}

    def by_boat(self, weight: Floats) -> Floats:
        """Return the sum of `weight`, shape (n,), by boat."""
        return np.bincount(self.boat, weight, minlength=self.boat_count).astype(float)

    def resampled(self, count: int, seed: int) -> Floats:
        """Return how often each boat is drawn, shape (count, boats); the first row is the fleet as it is."""
        rng = np.random.default_rng(seed)
        even = np.full(self.boat_count, 1 / self.boat_count)
        drawn = rng.multinomial(self.boat_count, even, size=count).astype(float)
        return np.vstack([np.ones(self.boat_count), drawn])

    def shares(self, ranking: str, drawn: Floats) -> Floats:
        """Return the share of findings in the first tenth for each drawing of boats, shape (drawings,)."""
        held, all_found = self.by_boat(self.taken[ranking] * self.seen), self.by_boat(self.seen.astype(float))
        with np.errstate(invalid="ignore"):
            return np.asarray((drawn @ held) / (drawn @ all_found))


def _row(looks: _Looks, ranking: str, drawn: tuple[Floats, Floats], ends: tuple[float, float]) -> dict[str, Any]:
    boats, ours = drawn
    shares = looks.shares(ranking, boats)
    found = int(looks.seen.sum())
    low, high = _ends(shares, ends)
    row: dict[str, Any] = {
        "ranking": ranking,
        "origins": len(looks.seasons),
        "looks": len(looks.seen),
        "found": found,
        "top_tenth_share": shares[0],
        "top_tenth_share_lower": low,
        "top_tenth_share_upper": high,
        "looks_per_finding": looks_per_finding(shares[0], len(looks.seen), found),
    }
    if ranking in CHANCED:
        row |= _calibration(looks, ranking, boats[: SLOPE_RESAMPLES + 1], ends)
    if ranking == ESTIMATE:
        return row | {"verdict": _told_of_chances(row)}
    low, high = _ends(ours - shares, ends)
    row |= {"difference": ours[0] - shares[0], "difference_lower": low, "difference_upper": high}
    return row | {"verdict": _told_beside(ranking, row)}


def _ends(values: Floats, ends: tuple[float, float]) -> tuple[float, float]:
    """Return the quantiles of the resampled values; the first is the fleet's own."""
    told = values[1:][~np.isnan(values[1:])]
    return (float("nan"), float("nan")) if not len(told) else tuple(map(float, np.quantile(told, ends)))  # type: ignore[return-value]


def _calibration(looks: _Looks, ranking: str, boats: Floats, ends: tuple[float, float]) -> dict[str, Any]:
    chance, seen = looks.chance[ranking], looks.seen
    past = looks.chance["past_rate_for_all"]
    row: dict[str, Any] = {
        "expected": float(chance.sum()),
        "brier_skill": _skill(scores.brier(chance, seen), scores.brier(past, seen)),
        "log_skill": _skill(scores.log_score(chance, seen), scores.log_score(past, seen)),
    }
    if ranking == "past_rate_for_all":  # one chance for all of a season has no line to speak of
        return row
    lines = np.array([scores.calibration(chance, seen, weight=drawn[looks.boat]) for drawn in boats])
    for name, values in zip(("calibration_intercept", "calibration_slope"), lines.T, strict=True):
        low, high = _ends(values, ends)
        row |= {name: values[0], f"{name}_lower": low, f"{name}_upper": high}
    return row


def _skill(score: float, reference: float) -> float:
    """Return 1 - score / reference: 0 is no better than the past rate for all, 1 is perfect (Murphy 1973)."""
    return 1 - score / reference if reference else float("nan")


def _told_of_chances(row: dict[str, Any]) -> str:
    ratio = row["found"] / row["expected"] if row["expected"] else float("nan")
    slope = f"{row['calibration_slope_lower']:.2f} to {row['calibration_slope_upper']:.2f}"
    if np.isnan(row["calibration_slope_lower"]):
        return f"{row['found']} found where {row['expected']:.1f} were expected ({ratio:.2f} times)"
    judged = "no sign that the chances are spread wrongly"
    if row["calibration_slope_lower"] > 1:
        judged = "chances are spread too little"
    elif row["calibration_slope_upper"] < 1:
        judged = "chances are spread too widely"
    return (
        f"{row['found']} found where {row['expected']:.1f} were expected ({ratio:.2f} times); slope {slope}: {judged}"
    )


def _told_beside(ranking: str, row: dict[str, Any]) -> str:
    name = NAMES[ranking]
    ends = f"{100 * row['difference_lower']:+.0f} to {100 * row['difference_upper']:+.0f}"
    if np.isnan(row["difference_lower"]):
        return f"too little to set it beside {name}"
    if row["difference_lower"] > 0:
        return f"better than {name} on your data: {100 * row['difference']:.0f} of 100 findings more ({ends})"
    if row["difference_upper"] < 0:
        return f"worse than {name} on your data: {-100 * row['difference']:.0f} of 100 findings fewer ({ends})"
    return f"no better than {name} on your data, as far as these seasons tell: {100 * row['difference']:+.0f} ({ends})"


def by_method(seasons: Sequence[Season], *, cover: float) -> pd.DataFrame:
    """Return tables.BACKTEST_METHODS: by method and scope, findings seen and expected by the estimate.

    The interval of the ratio takes the findings for a Poisson count (Garwood 1936).
    """
    kept = [season for season in seasons if is_scored(season)]
    if not kept:
        return pd.DataFrame(columns=list(BACKTEST_METHODS.column_names))
    looks = pd.DataFrame(
        {
            "method": np.concatenate([s.method for s in kept]),
            "scope": np.concatenate([s.scope for s in kept]),
            "found": np.concatenate([s.seen for s in kept]).astype(int),
            "expected": np.concatenate([s.expected[ESTIMATE] for s in kept]),
        }
    )
    made = looks.groupby(["method", "scope"], sort=True).agg(
        looks=("found", "size"), found=("found", "sum"), expected=("expected", "sum")
    )
    made = made.reset_index()
    low, high = scores.poisson_limits(made["found"].to_numpy(float), cover=cover)
    return made.assign(ratio=made["found"] / made["expected"], ratio_lower=low / made["expected"],
                       ratio_upper=high / made["expected"])[list(BACKTEST_METHODS.column_names)]  # fmt: skip
