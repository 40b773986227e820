"""Notices, such as a maker's recall: which parts they speak of, and whether what they ask for was done."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.outside import speaks_of
from bobstay.tables import NOTICE_STATUS, checked

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Rows = list[dict[str, Any]]

_ENDED = ("replaced", "removed")


def no_notices() -> pd.DataFrame:
    """Return `tables.NOTICE_STATUS` without a row."""
    return checked(pd.DataFrame(columns=list(NOTICE_STATUS.column_names)), NOTICE_STATUS)


def notice_status(
    notices: pd.DataFrame, lives: pd.DataFrame, looks: pd.DataFrame, fittings: pd.DataFrame
) -> pd.DataFrame:
    """Return `tables.NOTICE_STATUS`: a row for each notice and each part it speaks of.

    `notices` and `fittings` as taken in, with the name of the file in `file`. A part is meant that was in service on
    the day of the notice or later and fits all that the notice names; where the part's own supplier, batch or day of
    installation is not known well enough to say, it may be meant, and counts as `possible`.
    """
    if notices.empty:
        return no_notices()
    parts = [_matched(notice, lives) for notice in notices.to_dict("records")]
    frame = pd.concat(parts, ignore_index=True)
    frame = frame.sort_values(["notice_id", "life_id", "match"], ascending=[True, True, False], kind="stable")
    frame = frame.drop_duplicates(["notice_id", "life_id"], ignore_index=True)
    done = [_done(row, looks, fittings) for row in frame.itertuples(index=False)]
    told = pd.DataFrame(done, columns=["done_on", "done_by"], index=frame.index)
    frame = frame.assign(done_on=pd.to_datetime(told["done_on"]), done_by=told["done_by"])
    frame["status"] = np.where(frame["done_on"].notna(), "done", "open")
    return checked(frame, NOTICE_STATUS)


def _matched(notice: Mapping[Any, Any], lives: pd.DataFrame) -> pd.DataFrame:
    """Return the lives that one row of notices speaks of, with `match` sure or possible."""
    issued = pd.Timestamp(notice["issued_on_earliest"])
    there = lives["is_in_service"].astype(bool) | (pd.to_datetime(lives["ended_on"]) >= issued)
    there &= pd.to_datetime(lives["installed_earliest"].fillna(lives["installed_on"])) <= issued
    sure, possible = there.to_numpy(dtype=bool), there.to_numpy(dtype=bool)
    for column in ("fitting_type", "material", "supplier", "batch"):
        fits, unknown = _fits(column, notice[column], lives[column])
        sure, possible = sure & fits, possible & (fits | unknown)
    inside, overlaps = _installed_within(notice, lives)
    sure, possible = sure & inside, possible & overlaps
    mine = lives[possible]
    facts = {"notice_id": notice["notice_id"], "issued_on": issued, "action": notice["action"]}
    return mine.assign(**facts, source=notice["source"], match=np.where(sure[possible], "sure", "possible"))


def _fits(column: str, asked: Any, words: pd.Series[str]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which lives have the word that is asked for, and of which it is not known."""
    if not isinstance(asked, str) or not asked.strip():
        return np.ones(len(words), dtype=bool), np.zeros(len(words), dtype=bool)
    same = {word for word in words.dropna().unique() if speaks_of(column, asked, str(word))}
    return words.isin(same).to_numpy(dtype=bool), words.isna().to_numpy(dtype=bool)


def _installed_within(notice: Mapping[Any, Any], lives: pd.DataFrame) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which lives were surely put in within the days of the notice, and which may have been."""
    first, last = (pd.to_datetime(lives[f"installed_{end}"]) for end in ("earliest", "latest"))
    low, high = (pd.Timestamp(notice[name]) for name in ("installed_from_earliest", "installed_to_latest"))
    inside, overlaps = np.ones(len(lives), dtype=bool), np.ones(len(lives), dtype=bool)
    if pd.notna(low):
        inside, overlaps = inside & (first >= low).to_numpy(), overlaps & (last >= low).to_numpy()
    if pd.notna(high):
        before = (first <= high) | first.isna()
        inside, overlaps = inside & (last <= high).to_numpy(), overlaps & before.to_numpy()
    return inside, overlaps


def _done(row: Any, looks: pd.DataFrame, fittings: pd.DataFrame) -> tuple[Any, str | None]:
    """Return when what the notice asks for was done and the row that says so; (NaT, None) while it is open.

    A part taken out on the day of the notice or later is done with. A test is done by a look that counts on that day
    or later which the notice was the reason of, or which was made by more than the bare eye.
    """
    if row.end_reason in _ENDED and pd.Timestamp(row.ended_on) >= row.issued_on:
        return row.ended_on, _row_of_end(row, looks, fittings)
    if row.action == "replace":
        return pd.NaT, None
    mine = looks[(looks["life_id"] == row.life_id) & (pd.to_datetime(looks["look_on"]) >= row.issued_on)]
    mine = mine[mine["grade"].isin(["valid", "not_stated"]) & mine["shows"].isin(["clear", "indication"])]
    mine = mine[mine["method"].ne("visual") | mine["trigger"].eq("notice").fillna(False).astype(bool)]
    if mine.empty:
        return pd.NaT, None
    first = mine.sort_values(["look_on", "file", "line"]).iloc[0]
    return first["look_on"], f"{first['file']}:{first['line']}"


def _row_of_end(row: Any, looks: pd.DataFrame, fittings: pd.DataFrame) -> str | None:
    """Return the row of fittings that takes the part out, or puts in the next, else the look of that day."""
    ended = pd.Timestamp(row.ended_on)
    here = fittings[(fittings["boat_id"] == row.boat_id) & (fittings["fitting_id"] == row.fitting_id)]
    out = here[pd.to_datetime(here["removed_latest"]) == ended]
    begun = pd.to_datetime(here["installed_earliest"])
    after = here[(begun >= ended) & (begun <= ended + pd.Timedelta(days=31))]
    look = looks[(looks["life_id"] == row.life_id) & (pd.to_datetime(looks["look_on"]) == ended)]
    for rows in (out, look, after):
        if len(rows):
            return f"{rows['file'].iloc[0]}:{rows['line'].iloc[0]}"
    return None


def notice_alerts(status: pd.DataFrame) -> Rows:
    """Return an alert for each notice that is not done on every boat: how many parts, where, and what it asks for."""
    rows = []
    for notice_id, mine in status.groupby("notice_id", sort=True):
        left = mine[mine["status"] == "open"]
        if left.empty:
            continue
        boats = sorted(set(left["boat_id"]))
        named = ", ".join(boats[:12]) + (f" and {len(boats) - 12} more" if len(boats) > 12 else "")
        perhaps = int((left["match"] == "possible").sum())
        unsure = f" Of {perhaps} it is not known whether they are meant: find out." if perhaps else ""
        asks = "renewal" if (left["action"] == "replace").any() else "a test"
        source = left["source"].dropna()
        said = f" ({source.iloc[0]})" if len(source) else ""
        note = (
            f"Notice {notice_id}{said} asks for {asks}: {len(left)} of {len(mine)} parts are open, on {named}.{unsure}"
        )
        rows.append({"kind": "notice", "subject": f"notice {notice_id}", "seen": float(len(left)), "note": note})
    return rows
