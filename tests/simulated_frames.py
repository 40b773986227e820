"""The simulated fleet as the tables that lives hands to the estimate."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from bobstay.joint import Fleet
from simulated_fleet import METHODS, Truth

START = np.datetime64("2010-01-01")
AS_OF = date(2024, 1, 1)  # START plus YEARS
VERDICTS = ("none", "open", "confirmed", "unfounded")


def days_after_start(years: np.ndarray) -> np.ndarray:
    return START + np.round(years * 365.25).astype("timedelta64[D]")


def frames(fleet: Fleet, truth: Truth) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return lives, looks and boats; ages are exact years, days are rounded; methods are all scope removed."""
    looks = look_rows(fleet, truth)
    return life_rows(fleet, truth, looks), looks, boat_rows(truth)


def boat_rows(truth: Truth) -> pd.DataFrame:
    joined = days_after_start(truth.joined)
    frame = pd.DataFrame({"boat_id": [f"B{i:04d}" for i in range(len(joined))]})
    frame["water"] = np.where(truth.covariates[:, 0] > 0, "salt", "brackish")
    frame["climate"] = np.where(truth.covariates[:, 1] > 0, "warm", "temperate")
    frame["service"] = None
    frame["hours_per_year"] = np.nan
    return frame.assign(joined_earliest=joined, joined_latest=joined)


def look_rows(fleet: Fleet, truth: Truth) -> pd.DataFrame:
    life = fleet.look_life
    row, kind = fleet.look_code // 4, fleet.look_code % 4
    return pd.DataFrame(
        {
            "life_id": life_ids(fleet)[life],
            "look_years": fleet.look_age,
            "look_on": days_after_start(truth.installed[life] + fleet.look_age),
            "method": np.array(METHODS)[row],
            "scope": "removed",
            "result": np.where(kind > 0, "relevant", "no_indication"),
            "shows": np.where(kind > 0, "indication", "clear"),
            "verdict": np.array(VERDICTS)[kind],
            "grade": "valid",
            "trigger": "scheduled",
        }
    )


def life_ids(fleet: Fleet) -> np.ndarray:
    return np.array([f"L{i:06d}" for i in range(fleet.life_count)])


def life_rows(fleet: Fleet, truth: Truth, looks: pd.DataFrame) -> pd.DataFrame:
    ids = life_ids(fleet)
    found = looks[(looks["shows"] == "indication") & (looks["verdict"] != "unfounded")]
    clear = looks[(looks["shows"] == "clear") | (looks["verdict"] == "unfounded")]
    upper = found.groupby("life_id")["look_years"].min().reindex(ids).to_numpy()
    before = clear[
        clear["look_years"] < clear["life_id"].map(dict(zip(ids, np.nan_to_num(upper, nan=np.inf), strict=True)))
    ]
    lower = before.groupby("life_id")["look_years"].max().reindex(ids).to_numpy()
    first = before.groupby("life_id")["look_years"].min().reindex(ids).to_numpy()
    late = fleet.copy_entry > 0
    left_out = np.where(
        late & np.isnan(first),
        np.where(np.isnan(upper), "joined_late_no_clear_look", "joined_late_first_look_indication"),
        None,
    )
    open_on = np.where(~np.isnan(upper) & truth.is_in_service, 1.0, np.nan)
    installed = days_after_start(truth.installed)
    last_clear = clear.groupby("life_id")["look_years"].max().reindex(ids).to_numpy()
    return pd.DataFrame(
        {
            "life_id": ids,
            "fitting_id": ids,
            "part_number": 1,
            "boat_id": [f"B{i:04d}" for i in fleet.boat_index],
            "fitting_type": [f"type {truth.type_index[k]}" for k in fleet.class_index],
            "material": [f"material {truth.material_index[k]}" for k in fleet.class_index],
            "entry_years": np.where(late, first, 0.0),
            "lower_years": np.nan_to_num(lower),
            "upper_years": np.nan_to_num(upper, nan=np.inf),
            "left_out": left_out,
            "age_basis": "stated",
            "installed_on": installed,
            "installed_earliest": installed,
            "installed_latest": installed,
            "moved_on": np.full(fleet.life_count, np.datetime64("NaT", "D")),
            "ended_on": days_after_start(truth.installed + truth.last_years),
            "age_years": truth.last_years,
            "is_in_service": truth.is_in_service,
            "removal_reason": None,
            "open_indication_on": pd.Series(np.full(len(open_on), AS_OF, "M8[D]")).mask(np.isnan(open_on)),
            "ranking_clear_years": last_clear,
            "last_clear_years": last_clear,
            "voided_by": None,
            "voided_before": pd.Series(np.datetime64("NaT", "s"), index=range(fleet.life_count)),
            "through_deck": pd.array([None] * fleet.life_count, dtype="boolean"),
        }
    )
