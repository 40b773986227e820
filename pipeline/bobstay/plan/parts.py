"""The parts to order for a plan: what, how many, by when."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

import pandas as pd

from bobstay.plan.jobs import lead_weeks
from bobstay.tables import PARTS

if TYPE_CHECKING:
    from bobstay.settings import Settings


def parts(haul_plan: pd.DataFrame, priority: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return rows of `tables.PARTS` for the renewals of the plan, those of one type, material and week together.

    Tests that may end in a renewal are not counted: their parts are known when they have been done. Open indications
    count as renewals, as they are priced.
    """
    keys = ["boat_id", "fitting_id"]
    renewed = haul_plan[haul_plan["action"] != "test"]
    rows = renewed.merge(priority[[*keys, "material"]], on=keys, validate="one_to_one")
    made = []
    for (kind, material, day), mine in rows.groupby(["fitting_type", "material", "starts_on"], sort=True):
        weeks, first = lead_weeks(str(kind), str(material), settings), pd.Timestamp(day)  # type: ignore[arg-type]
        made.append(
            {
                "fitting_type": kind,
                "material": material,
                "needed_by": first,
                "order_by": first - timedelta(days=math.ceil(7 * weeks)),
                "count": len(mine),
                "lead_weeks": weeks,
                "boats": ";".join(sorted(set(mine["boat_id"]))),
            }
        )
    return pd.DataFrame(made, columns=list(PARTS.column_names))
