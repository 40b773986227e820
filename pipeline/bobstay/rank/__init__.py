"""Rank every fitting in service by expected loss, on two lists: those with evidence, those nobody has looked at."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.consequences import class_reasons, consequence_classes, units_of
from bobstay.rank.clear import clear_look_rows, clear_scopes, clear_until
from bobstay.rank.draw import drawn, season_of
from bobstay.rank.due import due
from bobstay.rank.options import chosen
from bobstay.rank.order import rank_range, tie_groups
from bobstay.rank.words import reasons, setting_of
from bobstay.rates_known import rates_known
from bobstay.tables import CLEAR_LOOKS, PRIORITY, checked

if TYPE_CHECKING:
    from bobstay.settings import Settings

_KEYS = ["list", "acts", "expected_loss", "consequence", "age_years", "boat_id", "fitting_id"]
_RISING = [True, False, False, False, False, True, True]
_NOT_ASKED = {  # columns of lives that no place rests on: the frame is copied often
    *("entry_years", "lower_years", "upper_years", "look_count", "valid_look_count", "clear_count", "left_out"),
    *("installed_earliest", "installed_latest", "ended_on", "end_reason", "removal_reason", "last_clear_years"),
    *("supplier", "batch", "through_deck", "moved_on", "moved_from"),
}
_CHANCE_COLUMNS = ["life_id", "chance", "chance_lower", "chance_upper", "chance_now", "logit_sd", "basis"]


def rank(  # what the contract of tables needs, one for one
    lives: pd.DataFrame,
    chances: pd.DataFrame,
    *,
    boats: pd.DataFrame,
    looks: pd.DataFrame,
    settings: Settings,
    as_of: date,
    detection: pd.DataFrame | None = None,
    guidance: pd.DataFrame | None = None,
    notices: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return `tables.PRIORITY`: every life in service once, the first to look at first on its list.

    expected_loss = chance x cost units of the consequence class. Open indications come first; losses that cannot be
    estimated come last on their list, by class and age, and their possible places say so. `detection`, `guidance`
    and `notices` (tables.NOTICE_STATUS): without them tests show what the settings say, and nothing is due.
    """
    frame = _in_service(lives, chances, boats, settings)
    until = as_of + timedelta(days=round(settings.horizon_years * 365.25))
    frame = frame.join(due(frame, guidance, until, notices=notices))
    frame["list"] = np.where(_has_evidence(frame), "evidence", "nobody_looked")
    frame["expected_loss"] = frame["chance"] * frame["units"]
    rates = rates_known(detection, settings)
    frame = frame.join(chosen(frame, lives, looks, settings, as_of, rates=rates))
    frame["clear_until"] = clear_until(frame, settings, as_of)
    frame["clear_scope"] = clear_scopes(frame, looks)
    frame = _placed(frame)
    season = season_of(as_of)
    frame["draw"] = drawn(frame, count=settings.rank.draw, seed=settings.estimate.seed, season=season)
    shared = setting_of(looks, frame.loc[frame["list"] == "nobody_looked", "life_id"], settings, as_of)
    frame["reason"] = reasons(frame, shared)
    return checked(frame, PRIORITY)


def clear_looks(
    priority: pd.DataFrame, lives: pd.DataFrame, looks: pd.DataFrame, *, settings: Settings, as_of: date
) -> pd.DataFrame:
    """Return `tables.CLEAR_LOOKS`: the newest clear look of each scope at each part in service."""
    return checked(clear_look_rows(priority, lives, looks, settings, as_of), CLEAR_LOOKS)


def _in_service(lives: pd.DataFrame, chances: pd.DataFrame, boats: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return the lives in service with chance, boat name, class, cost units and the day of the last clear look."""
    here = lives.loc[lives["is_in_service"].astype(bool), [name for name in lives if name not in _NOT_ASKED]]
    frame = here.merge(chances[_CHANCE_COLUMNS], on="life_id", how="left", validate="one_to_one")
    frame = frame.merge(boats[["boat_id", "boat_name"]], on="boat_id", how="left", validate="many_to_one")
    frame["consequence_reason"] = class_reasons(frame, settings)  # of what the rows state, before it is filled in
    frame["consequence"] = consequence_classes(frame, settings)
    frame["units"] = units_of(frame["consequence"].to_numpy(), settings)
    frame["acts"] = frame["open_indication_on"].notna()
    frame["clear_on"] = _later(frame["installed_on"], frame["ranking_clear_years"])
    return frame


def _has_evidence(frame: pd.DataFrame) -> pd.Series[bool]:
    """Say which parts have a valid look that still counts: a clear one no event has voided, or a finding."""
    return frame["ranking_clear_years"].notna() | frame["acts"] | (frame["indication_count"] > 0)


def _later(day: pd.Series[pd.Timestamp], years: pd.Series[float]) -> pd.Series[pd.Timestamp]:
    """Return the day so many years after another; in seconds, since nanoseconds do not reach three centuries."""
    days = (years.astype("float64") * 365.25).round().to_numpy(dtype="float64", na_value=np.nan)
    steps = np.where(
        np.isnan(days), np.timedelta64("NaT", "s"), (np.nan_to_num(days) * 86_400).astype("timedelta64[s]")
    )
    return pd.to_datetime(day) + pd.Series(steps.astype("timedelta64[s]"), index=years.index)


def _placed(frame: pd.DataFrame) -> pd.DataFrame:
    """Sort both lists and number their places, groups of ties (through both lists) and possible places."""
    ordered = frame.sort_values(_KEYS, ascending=_RISING, na_position="last", kind="stable", ignore_index=True)
    ordered["rank"] = ordered.groupby("list").cumcount() + 1
    same_list = ordered["list"].eq("evidence").to_numpy(dtype=np.int64)
    unknown = ordered["expected_loss"].isna().to_numpy() * ordered["consequence"].to_numpy()
    block = 100 * same_list + 10 * ordered["acts"].to_numpy(dtype=np.int64) + unknown
    arrays = (ordered[name].to_numpy(dtype=np.float64) for name in ("expected_loss", "logit_sd", "chance"))
    ordered["tie_group"] = tie_groups(block, *arrays) + 1
    return ordered.join(_possible_places(ordered))


def _possible_places(ordered: pd.DataFrame) -> pd.DataFrame:
    """Return rank_lower and rank_upper: open indications keep their places above all others of their list."""
    lower = (ordered["chance_lower"].fillna(0.0) * ordered["units"]).to_numpy(dtype=np.float64)
    upper = (ordered["chance_upper"].fillna(1.0) * ordered["units"]).to_numpy(dtype=np.float64)
    places = np.empty((len(ordered), 2), dtype=np.int64)
    for rows in ordered.groupby(["list", "acts"]).indices.values():
        offset = int(ordered["rank"].to_numpy()[rows].min()) - 1
        places[rows] = offset + np.column_stack(rank_range(lower[rows], upper[rows]))
    return pd.DataFrame(places, columns=["rank_lower", "rank_upper"], index=ordered.index)
