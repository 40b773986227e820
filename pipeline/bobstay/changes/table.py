"""Which fittings stand otherwise than in the run before, and what may have moved each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.tables import CHANGES, checked

if TYPE_CHECKING:
    from bobstay.changes.record import Run

LEAST_MOVE = 0.005  # of a chance: less is not shown, whole percent being what pages show
_PLACE = ["boat_id", "fitting_id"]


def moved(was: pd.DataFrame, now: pd.DataFrame, *, before: Run | None, now_run: Run) -> pd.DataFrame:
    """Return `tables.CHANGES`: fittings whose part, list, action or chance is another than before.

    `was` and `now` hold how fittings stood, a row a place; nothing is a change where there was no run before. A place
    that shifts only because others did is none either.
    """
    if before is None:
        return checked(pd.DataFrame(columns=list(CHANGES.column_names)), CHANGES)
    both = was.merge(now, on=_PLACE, how="outer", suffixes=("_before", "_after"), validate="one_to_one")
    both = both.assign(
        fitting_type=both["fitting_type_after"].fillna(both["fitting_type_before"]),
        material=both["material_after"].fillna(both["material_before"]),
        why=_why(both, before, now_run),
    )
    return checked(both[_is_moved(both)].reset_index(drop=True), CHANGES)


def _is_moved(both: pd.DataFrame) -> pd.Series[bool]:
    chances = both["chance_before"].to_numpy(np.float64), both["chance_after"].to_numpy(np.float64)
    is_known = [~np.isnan(c) for c in chances]
    far = np.abs(np.nan_to_num(chances[0]) - np.nan_to_num(chances[1])) >= LEAST_MOVE
    words = _differ(both, "life_id") | _differ(both, "list") | _differ(both, "action") | _differ(both, "look_count")
    return pd.Series(far | (is_known[0] != is_known[1]) | words, index=both.index)


def _differ(both: pd.DataFrame, name: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    one, other = both[f"{name}_before"], both[f"{name}_after"]
    return (one.ne(other) & ~(one.isna() & other.isna())).fillna(True).to_numpy(bool)


def _why(both: pd.DataFrame, before: Run, now: Run) -> list[str]:
    """Return for each fitting the codes of what may have moved it: its own rows first, then what moves all."""
    common = [
        code
        for code, differs in (
            ("settings", before.settings != now.settings),
            ("time", before.as_of != now.as_of),
            ("records", before.files != now.files),
            ("version", before.version != now.version),
        )
        if differs
    ]
    shared = "; ".join(common) or "records"
    own = [
        (both["life_id_before"].isna(), "new"),
        (both["life_id_after"].isna(), "gone"),
        (_differ(both, "life_id"), "other_part"),
        (_differ(both, "look_count"), "looks"),
        (_differ(both, "voided_by"), "event"),
    ]
    return [str(code) for code in np.select([np.asarray(mask) for mask, _ in own], [c for _, c in own], shared)]
