"""The lines of worksheets: which fittings stand on them, and the code by which each answer finds its way back.

Every line ever written stays in `worksheet_lines`, so that a sheet printed last year still matches.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay import codes, store
from bobstay.tables import WORKSHEET_LINES

if TYPE_CHECKING:
    from datetime import date

    import duckdb

_MARK_LENGTH = 4


def list_lines(con: duckdb.DuckDBPyConnection, *, as_of: date) -> None:
    """Write the lines of this run into `worksheet_lines`; a line that stood there for the same day keeps its code.

    Raises UsageError where no ranking or no plan has been made.
    """
    for name in ("priority", "haul_plan", "notice_status"):
        store.needed(con, name)
    lines = con.execute(store.query("worksheet_candidates"), {"as_of": as_of}).df().assign(is_current=True)
    earlier = _earlier(con, lines, as_of)
    taken = set(earlier["code"])
    mark = fleet_mark(con)
    lines["code"] = [_code(row, mark, taken) for row in lines.itertuples(index=False)]
    every = [frame for frame in (earlier, lines) if len(frame)]
    store.write(con, WORKSHEET_LINES, pd.concat(every, ignore_index=True) if every else lines)


def _earlier(con: duckdb.DuckDBPyConnection, lines: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """Return the lines written before, but those of the same day that are written anew."""
    if not store.has(con, WORKSHEET_LINES.name):
        return pd.DataFrame(columns=list(WORKSHEET_LINES.column_names))
    every = con.execute("SELECT * FROM worksheet_lines ORDER BY code").df().assign(is_current=False)
    every = every.reindex(columns=list(WORKSHEET_LINES.column_names))  # a store of before may lack the newest columns
    every["is_drawn"] = every["is_drawn"].eq(True)
    anew = pd.MultiIndex.from_frame(lines[["boat_id", "fitting_id"]])
    is_anew = pd.MultiIndex.from_frame(every[["boat_id", "fitting_id"]]).isin(anew)
    return every[~(is_anew & every["printed_for"].eq(pd.Timestamp(as_of)))]


def _code(row: Any, mark: str, taken: set[str]) -> str:
    code = codes.made(f"{mark}\0{row.boat_id}\0{row.fitting_id}\0{row.printed_for:%Y-%m-%d}", taken=taken)
    taken.add(code)
    return code


def fleet_mark(con: duckdb.DuckDBPyConnection) -> str:
    """Return the letters that tell this store's sheets from another's: made once, from the first file taken in."""
    con.execute("CREATE TABLE IF NOT EXISTS remembered (key VARCHAR PRIMARY KEY, value VARCHAR)")
    kept = store.value(con, "SELECT value FROM remembered WHERE key = 'fleet_mark'")
    if kept:
        return str(kept)
    first = store.value(con, "SELECT sha256 FROM files ORDER BY file_id LIMIT 1") or ""
    number = int(hashlib.sha256(f"fleet {first}".encode()).hexdigest(), 16)
    mark = codes.letters_of(number, _MARK_LENGTH)
    con.execute("INSERT INTO remembered VALUES ('fleet_mark', $mark)", {"mark": mark})
    return mark
