"""Until when a clear look counts, and what it could see."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from bobstay.settings import Settings

    Floats = NDArray[np.float64]


def clear_until(frame: pd.DataFrame, settings: Settings, as_of: date) -> pd.Series[pd.Timestamp]:
    """Return the day the last clear look stops counting; none without a clear look or with an open indication.

    The earlier of `guidance.clear_counts_years` after the look, and the day the chance passes the class's test limit,
    read off between the as-of date and the horizon (hazard taken as steady between them). A limit passed already
    gives the as-of date, unless the first rule ended it before.
    """
    counts = pd.to_timedelta(round(settings.guidance.clear_counts_years * 365.25), unit="D")
    by_age = frame["clear_on"] + counts
    limit = np.array([settings.guidance.test_limit[int(c)] for c in frame["consequence"]])
    wait = _years_to_limit(frame["chance_now"].to_numpy(np.float64), frame["chance"].to_numpy(np.float64), limit)
    days = np.minimum(np.floor(wait * settings.horizon_years * 365.25), 3e4)
    by_chance = pd.Timestamp(as_of) + pd.to_timedelta(pd.Series(days, index=frame.index), unit="D")
    earlier = by_age.where(by_chance.isna() | (by_age <= by_chance), by_chance)
    return earlier.where(~frame["acts"] & frame["clear_on"].notna())


def _years_to_limit(now: Floats, later: Floats, limit: Floats) -> Floats:
    """Return the part of the horizon after which the chance passes `limit`; inf where it does not, NaN unknown."""
    hazard_now, hazard_later, hazard_limit = (-np.log1p(-np.minimum(p, 1 - 1e-12)) for p in (now, later, limit))
    rise = hazard_later - hazard_now
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.clip((hazard_limit - hazard_now) / rise, 0, None)
    unknown = np.isnan(now) | np.isnan(later)
    return np.where(unknown, np.nan, np.where(now >= limit, 0.0, np.where(later < limit, np.inf, part)))


_GRADES = ("valid", "not_stated")
SEES = {
    "removed": "the whole part, taken off",
    "in_place": "only what shows where it sits; what is hidden is not cleared",
}


def clear_scopes(frame: pd.DataFrame, looks: pd.DataFrame) -> pd.Series[str]:
    """Return for each row what its newest clear look that still counts could see; empty without one."""
    newest = _newest_clear(looks, ["life_id"]).set_index("life_id")["scope"]
    counts = ~frame["acts"] & frame["clear_on"].notna()
    scope: pd.Series[str] = frame["life_id"].map(newest).where(counts)
    return scope


def _newest_clear(looks: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Return the newest valid look that found nothing, or something unfounded, for each group of columns `by`."""
    is_clear = looks["shows"].eq("clear") | looks["verdict"].eq("unfounded").fillna(False)
    counts = (is_clear.astype(bool) & looks["grade"].isin(_GRADES)).to_numpy(dtype=bool)
    mine = looks.loc[counts, [*by, "look_years"]]  # of millions of looks no more than this is copied and sorted
    newest = mine["look_years"] == mine.groupby(by, sort=False)["look_years"].transform("max")
    tied = looks.iloc[np.flatnonzero(counts)[newest.to_numpy()]]
    ordered = tied.sort_values([*by, "look_years", "look_on", "file", "line"], kind="stable")
    return ordered.drop_duplicates(by, keep="last")


def clear_look_rows(
    priority: pd.DataFrame, lives: pd.DataFrame, looks: pd.DataFrame, settings: Settings, as_of: date
) -> pd.DataFrame:
    """Return the rows of tables.CLEAR_LOOKS: the newest clear look of each scope at each part in service.

    It counts until the earliest of `guidance.clear_counts_years` after it, the day the chance passes the class's test
    limit (priority's clear_until), an event, and an indication that stands.
    """
    known = priority[["life_id", "boat_id", "fitting_id", "fitting_type", "material", "clear_until"]]
    facts = lives[["life_id", "voided_before", "voided_by", "open_indication_on"]]
    newest = _newest_clear(looks[looks["life_id"].isin(known["life_id"])], ["life_id", "scope"])
    both = known.merge(newest, on="life_id", how="inner", validate="one_to_many")
    both = both.merge(facts, on="life_id", how="left", validate="many_to_one")
    both["looked_on"] = pd.to_datetime(both["look_on"])
    ends = _ends(both, settings)
    both["counts_until"] = ends.min(axis=1)
    why = ends.fillna(pd.Timestamp.max.normalize()).to_numpy().argmin(axis=1) if len(both) else []
    both["ended_by"] = [_WHY[i] for i in why]
    both["counts"] = both["counts_until"] > pd.Timestamp(as_of)
    both["sees"] = both["scope"].map(SEES)
    return both


_WHY = (
    "its age",
    "the chance passing the test limit of its class",
    "an event on the boat",
    "an indication that stands",
)


def _ends(both: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return the days on which each look stops counting, one column a reason in the order of _WHY, NaT for none."""
    counts = pd.to_timedelta(round(settings.guidance.clear_counts_years * 365.25), unit="D")
    event, found = pd.to_datetime(both["voided_before"]), pd.to_datetime(both["open_indication_on"])
    by_chance = pd.to_datetime(both["clear_until"])
    return pd.DataFrame(
        {
            "age": both["looked_on"] + counts,
            "chance": by_chance.where(by_chance >= both["looked_on"]),
            "event": event.where(event > both["looked_on"]),
            "found": found.where(found >= both["looked_on"]),
        }
    )
