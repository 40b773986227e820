"""A small store whose worksheets have been written, and short ways to fill one in as a yard would."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay import codes
from bobstay.papers.lines import fleet_mark
from bobstay.store import opened, write
from bobstay.tables import WORKSHEET_LINES
from ingest_files import LIMIT, Taken, fleet, take
from ingest_files import write as write_files

if TYPE_CHECKING:
    from pathlib import Path

PRINTED = date(2026, 10, 31)
PARTS = (("B1", "CP1", "penetrant"), ("B1", "CP2", None), ("B2", "KB1", "ultrasonic"))


def printed(folder: Path, *, on: date = PRINTED) -> dict[str, str]:
    """Make the small fleet's store, write lines for all its parts, and return each part's code."""
    take(folder, fleet(folder))
    with opened(folder / "s.duckdb") as con:
        mark = fleet_mark(con)
        made = {f: codes.made(f"{mark}\0{b}\0{f}\0{on}") for b, f, _ in PARTS}
        write(con, WORKSHEET_LINES, pd.DataFrame([_line(b, f, m, made[f], n, on) for n, (b, f, m) in enumerate(PARTS)]))
    return made


def _line(boat: str, fitting: str, method: str | None, code: str, place: int, on: date) -> dict[str, Any]:
    told = {"code": code, "printed_for": on, "boat_id": boat, "place": place, "fitting_id": fitting}
    told |= {"fitting_type": "chainplate", "material": "316 stainless", "position": None, "section": "if_opened"}
    told |= {"slot_id": None, "starts_on": None, "access": "mast_out", "action": "test", "method": method}
    told |= {"list": "evidence", "rank": place + 1, "chance": 0.1, "chance_lower": 0.05, "chance_upper": 0.2}
    return told | {
        "consequence": 4,
        "reason": "-",
        "life_id": f"{boat}/{fitting}/1",
        "is_current": True,
        "scope": None,
        "is_drawn": False,
        "notices": None,
        "due_on": None,
        "due_by": None,
    }


def bring_back(folder: Path, text: str, *, name: str = "back", **options: Any) -> Taken:
    """Take in a CSV of codes and answers; past days may lie up to LIMIT."""
    return take(folder, write_files(folder, **{f"{name}_csv": text}), **{"limit": LIMIT, "needed": (), **options})


def answers(taken: Taken) -> dict[str, tuple[Any, ...]]:
    """Return result, method and day of each look that a sheet brought back, by its code."""
    rows = taken.tables["inspections"]
    came = [r for r in rows if (r["inspection_id"] or "").startswith("sheet ")]
    return {r["inspection_id"].removeprefix("sheet "): (r["result"], r["method"], r["inspected_on"]) for r in came}
