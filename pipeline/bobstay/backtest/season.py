"""The looks of the year after an origin, beside what each way of ordering the fittings would have said of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.backtest.habits import spreadsheet_hazard
from bobstay.backtest.origin import looks_after

if TYPE_CHECKING:
    from datetime import date

    from numpy.typing import NDArray

    from bobstay.backtest.origin import Origin

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

ESTIMATE = "estimate"
CHANCED = (ESTIMATE, "plain_interval", "spreadsheet", "past_rate_for_all")  # these give a chance, the others an order
RANKINGS = (*CHANCED, "oldest_first", "longest_since_a_look", "every_n_years")
CLASS = ["fitting_type", "material"]


@dataclass(frozen=True, slots=True)
class Season:
    """One season's looks, shape (n,): what they showed, and by ranking the order and, where it gives one, the chance.

    `expected` is the chance that this look shows an indication. Both are empty where the origin was not estimated.
    """

    day: date
    boat: NDArray[np.object_]
    fitting: NDArray[np.object_]
    method: NDArray[np.object_]
    scope: NDArray[np.object_]
    seen: Flags
    order: dict[str, Floats]
    expected: dict[str, Floats]


def season_after(origin: Origin, looks: pd.DataFrame, *, every_years: float) -> Season:
    """Return the season after `origin.day`, of `looks` as they are known today.

    A look counts where the part was in service at the origin without an open indication, the look was valid, and no
    look of the season before it had shown an indication already. `every_years`: the interval of the ranking by fixed
    intervals.
    """
    rows = _watched(origin, _until_the_first_finding(looks_after(origin.day, looks)))
    rows = _told(origin, rows)
    expected = _expected(origin, rows)
    order = {
        ESTIMATE: rows["chance"].to_numpy(float),
        "plain_interval": rows["plain_chance"].to_numpy(float),
        "spreadsheet": expected["spreadsheet"],
        "past_rate_for_all": np.zeros(len(rows)),
        "oldest_first": rows["age_years"].to_numpy(float),
        "longest_since_a_look": rows["waited_years"].to_numpy(float),
        "every_n_years": (rows["waited_years"].to_numpy(float) >= every_years).astype(float),
    }
    return _season(origin.day, rows, order, expected)


def season_not_scored(day: date, looks: pd.DataFrame) -> Season:
    """Return the season after `day` with no more than its looks: it holds too few findings for an estimate."""
    rows = _until_the_first_finding(looks_after(day, looks))
    return _season(day, rows.assign(boat_id="", fitting_id=""), {}, {})


def _season(day: date, rows: pd.DataFrame, order: dict[str, Floats], expected: dict[str, Floats]) -> Season:
    boat, fitting, method, scope = (
        rows[c].to_numpy(dtype=object) for c in ("boat_id", "fitting_id", "method", "scope")
    )
    return Season(day, boat, fitting, method, scope, (rows["shows"] == "indication").to_numpy(bool), order, expected)


def _until_the_first_finding(looks: pd.DataFrame) -> pd.DataFrame:
    """Leave out looks at a part after one that showed something: the chances at the origin know nothing of it."""
    looks = looks.sort_values(["life_id", "look_on", "file", "line"], kind="stable")
    found = (looks["shows"] == "indication").astype(int)
    kept: pd.DataFrame = looks[(found.groupby(looks["life_id"]).cumsum() - found).to_numpy() == 0]
    return kept


def _watched(origin: Origin, looks: pd.DataFrame) -> pd.DataFrame:
    """Return the looks at parts in service at the origin without an open indication, with what was known of them."""
    known = origin.lives[origin.lives["is_in_service"].astype(bool) & origin.lives["open_indication_on"].isna()]
    known = known[["life_id", "boat_id", "fitting_id", *CLASS, "age_years", "last_valid_look"]]
    rows = looks.merge(known, on="life_id", validate="many_to_one")
    start = pd.Timestamp(origin.day)
    waited = (start - pd.to_datetime(rows["last_valid_look"])).dt.days / 365.25
    return rows.assign(
        part=(pd.to_datetime(rows["look_on"]) - start).dt.days / 365.25,
        waited_years=waited.fillna(rows["age_years"]),
    )


def _told(origin: Origin, rows: pd.DataFrame) -> pd.DataFrame:
    """Add the chances of the estimate and of the plain interval model; parts without a chance are left out.

    Where the plain model has none of its own the middle one of those it has stands in, and none where it has none.
    """
    rates, plain = origin.detection, origin.plain_chances
    rows = rows.merge(origin.chances[["life_id", "chance", "chance_now"]], on="life_id", validate="many_to_one")
    plain = plain[["life_id", "chance", "chance_now"]].add_prefix("plain_").rename(columns={"plain_life_id": "life_id"})
    rows = rows.merge(plain, on="life_id", how="left", validate="many_to_one")
    rates = rates[["method", "scope", "found", "false_call"]]
    rows = rows.merge(rates, on=["method", "scope"], validate="many_to_one").dropna(subset=["chance"])
    for column in ("plain_chance", "plain_chance_now"):
        given = rows[column].astype(float)
        rows[column] = given.fillna(given.dropna().median() if given.notna().any() else 0.0)
    return rows.sort_values(["life_id", "look_on", "file", "line"], kind="stable", ignore_index=True)


def _expected(origin: Origin, rows: pd.DataFrame) -> dict[str, Floats]:
    """Return by ranking with chances the chance that each look shows an indication; p runs in a line over the year."""
    part = rows["part"].to_numpy(float)
    p = _on_the_way(rows["chance_now"].to_numpy(float), rows["chance"].to_numpy(float), part)
    found, false_call = rows["found"].to_numpy(float), rows["false_call"].to_numpy(float)
    plain = _on_the_way(rows["plain_chance_now"].to_numpy(float), rows["plain_chance"].to_numpy(float), part)
    told = origin.looks[origin.looks["shows"].isin(["clear", "indication"])]["shows"]
    past = float((told == "indication").mean()) if len(told) else 0.0
    return {
        ESTIMATE: found * p + false_call * (1 - p),
        "plain_interval": plain,
        "spreadsheet": _by_spreadsheet(origin, rows),
        "past_rate_for_all": np.full(len(rows), past),
    }


def _on_the_way(now: Floats, later: Floats, part: Floats) -> Floats:
    return np.asarray(now + (later - now) * part)


def _by_spreadsheet(origin: Origin, rows: pd.DataFrame) -> Floats:
    """Return 1 - S(age at the look) / S(age at the origin) by the curve that takes findings' days for the cracks'."""
    hazard = spreadsheet_hazard(origin.lives)
    age = rows["age_years"].to_numpy(float)
    kind, material = rows["fitting_type"].to_numpy(object), rows["material"].to_numpy(object)
    return np.asarray(
        -np.expm1(hazard(kind, material, age) - hazard(kind, material, age + rows["part"].to_numpy(float)))
    )
