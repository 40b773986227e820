"""What can be said of each fitting in service by itself, before it is set beside the others."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.consequences import class_reasons, consequence_classes, units_of
from bobstay.rank.clear import clear_scopes, clear_until
from bobstay.rank.draw import lots, season_of
from bobstay.rank.due import due
from bobstay.rank.options import chosen
from bobstay.rank.words import reasons, setting_of
from bobstay.rates_known import rates_known

if TYPE_CHECKING:
    from bobstay.rank.options import Offer
    from bobstay.settings import Settings

LIVES_READ = (  # columns of lives: the frame is copied often
    *("life_id", "boat_id", "fitting_id", "part_number", "fitting_type", "material", "position", "access"),
    *("consequence", "consequence_reason", "installed_on", "age_basis", "age_years", "is_in_service"),
    *("indication_count", "open_indication_on", "last_valid_look", "last_method", "ranking_clear_years"),
    *("voided_by", "voided_before"),
)
_CHANCE_COLUMNS = ["life_id", "chance", "chance_lower", "chance_upper", "chance_now", "logit_sd", "basis"]


@dataclass(frozen=True, slots=True)
class Grounds:
    """What the weighing of every fitting rests on; tables as `rank` takes them, `offers` by `methods_offered`."""

    settings: Settings
    as_of: date
    offers: dict[str, Offer]
    boats: pd.DataFrame
    detection: pd.DataFrame | None = None
    guidance: pd.DataFrame | None = None
    notices: pd.DataFrame | None = None


def weighed(lives: pd.DataFrame, chances: pd.DataFrame, looks: pd.DataFrame, on: Grounds) -> pd.DataFrame:
    """Return the lives in service by boat and fitting, with all of tables.PRIORITY but places and what was drawn.

    Beside it what places rest on: acts, units, logit_sd, lot. Each boat must be there whole, since its fittings share
    the cost of access; other boats change nothing. Of `lives` the columns LIVES_READ are read.
    """
    settings, as_of = on.settings, on.as_of
    frame = _in_service(lives, chances, on)
    until = as_of + timedelta(days=round(settings.horizon_years * 365.25))
    frame = frame.join(due(frame, on.guidance, until, notices=on.notices))
    frame["list"] = np.where(_has_evidence(frame), "evidence", "nobody_looked")
    frame["expected_loss"] = frame["chance"] * frame["units"]
    frame = frame.join(chosen(frame, on.offers, settings, as_of, rates=rates_known(on.detection, settings)))
    frame["clear_until"] = clear_until(frame, settings, as_of)
    frame["clear_scope"] = clear_scopes(frame, looks)
    frame["lot"] = lots(frame, seed=settings.estimate.seed, season=season_of(as_of))
    shared = setting_of(looks, frame.loc[frame["list"] == "nobody_looked", "life_id"], settings, as_of)
    frame["reason"] = reasons(frame, shared)
    return frame


def _in_service(lives: pd.DataFrame, chances: pd.DataFrame, on: Grounds) -> pd.DataFrame:
    """Return the lives in service with chance, boat name, class, cost units and the day of the last clear look."""
    settings = on.settings
    here = lives.loc[lives["is_in_service"].astype(bool), list(LIVES_READ)]
    here = here.sort_values(["boat_id", "fitting_id"], kind="stable")
    frame = here.merge(chances[_CHANCE_COLUMNS], on="life_id", how="left", validate="one_to_one")
    frame = frame.merge(on.boats[["boat_id", "boat_name"]], on="boat_id", how="left", validate="many_to_one")
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
