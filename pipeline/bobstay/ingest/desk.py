"""What the store knows of its worksheets: every line ever written, and the answers that have come back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bobstay import store
from bobstay.tables import INSPECTIONS, LOOK_OF_SHEET

if TYPE_CHECKING:
    from collections.abc import Mapping

    import duckdb

_LINES = "SELECT code, boat_id, fitting_id, coalesce(method, 'visual') FROM worksheet_lines ORDER BY code"
_MARK = "SELECT value FROM remembered WHERE key = 'fleet_mark'"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a sheet: its code, its part, and the method that was proposed (visual where none was)."""

    code: str
    boat_id: str
    fitting_id: str
    method: str

    def line_of(self, mark: str) -> str:
        """Return what our workbooks carry beside the code."""
        return f"{mark}/{self.boat_id}/{self.fitting_id}"


@dataclass(frozen=True, slots=True)
class Desk:
    """All lines by their codes, the answers stored so far, each as cells, and the mark of the fleet."""

    lines: Mapping[str, Line]
    answers: Mapping[str, dict[str, str]]
    mark: str

    @classmethod
    def of(cls, con: duckdb.DuckDBPyConnection) -> Desk:
        """Read the desk of a store as it is now."""
        if not store.has(con, "worksheet_lines"):
            return cls({}, {}, "")
        lines = {row[0]: Line(*row) for row in con.execute(_LINES).fetchall()}
        mark = store.value(con, _MARK) if store.has(con, "remembered") else ""
        return cls(lines, _answers(con), str(mark or ""))


def _answers(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, str]]:
    columns = ", ".join(f'"{name}"' for name in (*INSPECTIONS.column_names, "extra"))
    cursor = con.execute(
        f"SELECT {columns} FROM inspections WHERE starts_with(inspection_id, $start) ORDER BY file_id, line",
        {"start": LOOK_OF_SHEET},
    )
    names = [column[0] for column in cursor.description or ()]
    rows = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
    return {row["inspection_id"].removeprefix(LOOK_OF_SHEET): _as_cells(row) for row in rows}


def _as_cells(row: Mapping[str, Any]) -> dict[str, str]:
    """Return a stored look as the cells that would say it again."""
    beside = json.loads(row["extra"]) if row["extra"] else {}
    cells = {name: value for name, value in {**beside, **row}.items() if value is not None and name != "extra"}
    return {name: _text(value) for name, value in cells.items()}


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value)
