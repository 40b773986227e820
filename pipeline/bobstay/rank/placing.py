"""The places of fittings on both lists, from a few numbers of each."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bobstay.rank.draw import drawn
from bobstay.rank.order import rank_range, tie_groups

# of the weighed frame: all that places rest on
PLACED_BY = (
    *("list", "acts", "expected_loss", "consequence", "age_years", "chance", "chance_lower", "chance_upper"),
    *("units", "logit_sd", "action", "lot"),
)


def placed(frame: pd.DataFrame, *, draw: int) -> pd.DataFrame:
    """Return rank, tie_group, rank_lower, rank_upper and draw of each row of the weighed frame, on its index.

    `frame` has the columns PLACED_BY of all fittings in service, by boat and fitting: that decides where all else is
    equal. Open indications come first; unknown losses last on their list, by class and age. Ties are numbered through
    both lists. `draw` of the low places are drawn by lot.
    """
    ordered = frame.iloc[_order(frame)]
    ordered = ordered.assign(rank=ordered.groupby("list").cumcount() + 1)
    same_list = ordered["list"].eq("evidence").to_numpy(dtype=np.int64)
    unknown = ordered["expected_loss"].isna().to_numpy() * ordered["consequence"].to_numpy()
    block = 100 * same_list + 10 * ordered["acts"].to_numpy(dtype=np.int64) + unknown
    arrays = (ordered[name].to_numpy(dtype=np.float64) for name in ("expected_loss", "logit_sd", "chance"))
    ties = tie_groups(block, *arrays) + 1
    places = pd.DataFrame({"rank": ordered["rank"], "tie_group": ties}, index=ordered.index)
    return places.join(_possible_places(ordered)).assign(draw=drawn(ordered, count=draw)).loc[frame.index]


def _order(frame: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Return the rows in the order of their places: the last key counts first, and what is missing comes last."""
    falling = (frame[name].to_numpy(dtype=np.float64) for name in ("age_years", "consequence", "expected_loss"))
    is_last = frame["list"].ne("evidence").to_numpy()
    return np.lexsort([*(-values for values in falling), ~frame["acts"].to_numpy(dtype=bool), is_last])


def _possible_places(ordered: pd.DataFrame) -> pd.DataFrame:
    """Return rank_lower and rank_upper: open indications keep their places above all others of their list."""
    lower = (ordered["chance_lower"].fillna(0.0) * ordered["units"]).to_numpy(dtype=np.float64)
    upper = (ordered["chance_upper"].fillna(1.0) * ordered["units"]).to_numpy(dtype=np.float64)
    places = np.empty((len(ordered), 2), dtype=np.int64)
    for rows in ordered.groupby(["list", "acts"]).indices.values():
        offset = int(ordered["rank"].to_numpy()[rows].min()) - 1
        places[rows] = offset + np.column_stack(rank_range(lower[rows], upper[rows]))
    return pd.DataFrame(places, columns=["rank_lower", "rank_upper"], index=ordered.index)
