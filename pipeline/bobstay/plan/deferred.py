"""The risk that stays: by boat, and until when."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pandas as pd

from bobstay.tables import DEFERRED

if TYPE_CHECKING:
    from datetime import date

    from bobstay.settings import Settings

_MONTH_DAYS = 365.25 / 12


def deferred(
    priority: pd.DataFrame, haul_plan: pd.DataFrame, reasons: dict[str, str], *, settings: Settings, as_of: date
) -> pd.DataFrame:
    """Return rows of `tables.DEFERRED`: of jobs in the plan until the visit, of other jobs proposed to the horizon.

    `reasons` say what boats without a visit wait for. The loss before a visit takes the chance as even over the
    horizon (assumed; a crack that grows makes it less).
    """
    wanted = priority[priority["action"] != "leave"]
    keys = ["boat_id", "fitting_id"]
    when = haul_plan[[*keys, "starts_on"]]
    rows = wanted[[*keys, "boat_name", "action", "loss_avoided"]].merge(
        when, on=keys, how="left", validate="one_to_one"
    )
    days = settings.horizon_months * _MONTH_DAYS
    end = pd.Timestamp(as_of + timedelta(days=round(days)))
    day = pd.to_datetime(rows["starts_on"])  # of an empty plan the column is of no type
    planned = day.notna()
    waited = (day - pd.Timestamp(as_of)).dt.days / days
    rows = rows.assign(
        until=day.fillna(end),
        kind=planned.map({True: "before_visit", False: "not_planned"}),
        loss=rows["loss_avoided"] * waited.clip(upper=1.0).where(planned, 1.0),
    )
    visiting = set(haul_plan["boat_id"])
    grouped = rows.groupby(["boat_id", "until", "kind"], sort=True)
    made = [
        _row((str(boat), pd.Timestamp(until), str(kind)), mine, reasons, visiting)  # type: ignore[arg-type]
        for (boat, until, kind), mine in grouped
    ]
    return pd.DataFrame(made, columns=list(DEFERRED.column_names))


def _row(
    key: tuple[str, pd.Timestamp, str], mine: pd.DataFrame, reasons: dict[str, str], visiting: set[str]
) -> dict[str, object]:
    boat, until, kind = key
    waits = (
        f"no week: for want of {reasons.get(boat, '')}" if boat in reasons else "none of them pays its access and cost"
    )
    left = "no room in her visit, or they do not pay" if boat in visiting else waits
    return {
        "boat_id": boat,
        "until": until,
        "kind": kind,
        "jobs": len(mine),
        "open_indications": int((mine["action"] == "act_now").sum()),
        "loss_deferred": float(mine["loss"].sum()),
        "jobs_not_estimated": int(mine["loss_avoided"].isna().sum()),
        "reason": "her week" if kind == "before_visit" else left,
        "boat_name": mine["boat_name"].iloc[0],
    }
