"""What worksheets that came back did to the ranks: each fitting in service, its place before and after, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.tables import LOOK_OF_SHEET, RANK_CHANGES, checked

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb

_KEYS = ["boat_id", "fitting_id"]
_COMPARED = ["list", "rank", "chance", "action"]
_SAME_CHANCE = 0.0005  # a change that no reader would see
_SHEETS = f"""SELECT DISTINCT f.file, f.part FROM inspections AS i JOIN files AS f USING (file_id)
    WHERE starts_with(i.inspection_id, '{LOOK_OF_SHEET}') ORDER BY ALL"""
_ANSWERS = f"""SELECT i.boat_id, i.fitting_id, i.result, i.method, i.inspected_on_latest AS day, i.action AS done
    FROM inspections AS i JOIN files AS f USING (file_id)
    WHERE starts_with(i.inspection_id, '{LOOK_OF_SHEET}') AND list_contains($sheets, f.file || chr(10) || f.part)
    ORDER BY i.boat_id, i.fitting_id, i.inspected_on_latest, i.inspection_id"""


def answers_of(con: duckdb.DuckDBPyConnection, sheets: Sequence[tuple[str, str]]) -> pd.DataFrame:
    """Return the newest answer to each fitting in the files and sheets named, but those known before."""
    named = [f"{file}\n{part}" for file, part in sheets]
    return con.execute(_ANSWERS, {"sheets": named}).df().drop_duplicates(_KEYS, keep="last")


def sheets_of(con: duckdb.DuckDBPyConnection) -> list[tuple[str, str]]:
    """Return file and part of every worksheet that came back."""
    return con.execute(_SHEETS).fetchall()


def nothing_moved() -> pd.DataFrame:
    """Return `tables.RANK_CHANGES` of a store that no worksheet has come back to."""
    return pd.DataFrame(columns=list(RANK_CHANGES.column_names))


def compared(before: pd.DataFrame, after: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    """Return `tables.RANK_CHANGES` of two priority lists and the answers between them."""
    old = before[[*_KEYS, "fitting_type", *_COMPARED]]
    new = after[[*_KEYS, "fitting_type", *_COMPARED]]
    both = old.merge(new, on=_KEYS, how="outer", suffixes=("_before", "_after"), validate="one_to_one")
    both["fitting_type"] = both["fitting_type_after"].fillna(both["fitting_type_before"])
    both = both.merge(answers, on=_KEYS, how="left", validate="one_to_one")
    both["is_answered"] = both["result"].notna()
    for name in ("rank_before", "rank_after"):
        both[name] = both[name].astype("Int64")
    both["why"] = [_why(row) for row in both.itertuples(index=False)]
    return checked(both, RANK_CHANGES)


def _why(row: Any) -> str:
    answer = f"{_answer(row)}. " if row.is_answered else ""
    return f"{answer}{_move(row)}"


def _answer(row: Any) -> str:
    if row.result == "not_inspected":
        return "Not inspected"
    done = "" if pd.isna(row.done) or row.done == "none" else f", {row.done}"
    return f"{_spoken(row.result)} ({_spoken(row.method).lower()}) on {pd.Timestamp(row.day).date()}{done}"


def _spoken(word: str) -> str:
    return word.replace("_", " ").capitalize()


def _move(row: Any) -> str:
    if pd.isna(row.rank_after):
        return "No longer in service."
    if pd.isna(row.rank_before):
        return "New in service."
    if row.list_before != row.list_after:
        has = row.list_after == "evidence"
        return "Somebody has looked now: another list." if has else "No look at this part counts now: another list."
    if _moved(row.chance_before, row.chance_after):
        own = row.is_answered and row.result != "not_inspected"
        return (
            "Its chance moved."
            if own
            else "Its chance moved with time, and with what was found on others of its class and boat."
        )
    if row.rank_before != row.rank_after:
        return "Others moved past it."
    return "It stands where it stood."


def _moved(before: float, after: float) -> bool:
    if pd.isna(before) or pd.isna(after):
        return bool(pd.isna(before) != pd.isna(after))
    return abs(before - after) > _SAME_CHANCE
