"""What the page of records shows: what was taken in, what was not, and what was never looked at."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bobstay.report.boats import Boat
    from bobstay.report.fleet import Fleet, Row


def records_of(fleet: Fleet, boats: list[Boat]) -> dict[str, Any]:
    """Return the context of the page."""
    files = fleet.tables["files"]
    counted = ("rows_read", "rows_used", "rows_set_aside", "cells_unread", "rows_known", "rows_superseding")
    totals = {k: sum(f[k] for f in files) for k in counted}
    changes = fleet.tables["superseded"]
    return {
        "totals": totals,
        "confirmed": [row for row in changes if row["change"] == "weakens_indication"],
        "moved": [row for row in changes if row["change"] == "moves_history"],
        "coverage": _by_type(fleet.tables["coverage"]),
        "left_out": _counted(fleet.life_counts, "left_out"),
        "age_basis": _counted([r for r in fleet.life_counts if r["is_in_service"]], "age_basis"),
        "unlooked": [b for b in boats if b.fittings and all(f["last_valid_look"] is None for f in b.fittings)],
    }


def _by_type(rows: list[Row]) -> list[Row]:
    """Return coverage summed over boats, a row a fitting type."""
    table: dict[str, Row] = {}
    for row in rows:
        kind = row["fitting_type"]
        sums = table.setdefault(kind, {"fitting_type": kind, "boats": 0, "fittings": 0, "looked": 0, "oldest": None})
        seen = row["last_valid_look"]
        sums["boats"] += 1
        sums["fittings"] += row["fittings"]
        sums["looked"] += row["looked"]
        sums["oldest"] = min(filter(None, (sums["oldest"], seen)), default=None)
    return [table[kind] for kind in sorted(table)]


def _counted(rows: list[Row], column: str) -> list[tuple[str, int]]:
    """Return the words of a column with their parts, the most first."""
    sums: dict[str, int] = {}
    for row in rows:
        if row[column]:
            sums[row[column]] = sums.get(row[column], 0) + row["lives"]
    return [(word, sums[word]) for word in sorted(sums, key=lambda w: (-sums[w], w))]
