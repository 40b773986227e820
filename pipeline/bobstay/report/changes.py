"""What the page of changes shows: what is different about this run, and which fittings moved."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bobstay.changes import Run
    from bobstay.report.fleet import Fleet, Row

_SHOWN = 60  # rows; every row is in tables/changes.csv
_MARKED = 0.05  # of a chance, a move worth counting in the head


def changes_of(fleet: Fleet) -> dict[str, Any]:
    """Return the context of the page; `run_before` is None on the first run of a store."""
    if fleet.run_before is None or fleet.run is None:
        return {"run_before": None}
    rows = sorted(fleet.tables["changes"], key=_weight)
    before, now = fleet.run_before, fleet.run
    return {
        "run_before": before,
        "before_on": date.fromisoformat(before.as_of),
        "files": _files(before, now),
        "setting_rows": _settings(before, now),
        "versions": (before.version, now.version),
        "rows": rows[:_SHOWN],
        "row_count": len(rows),
        "up": sum(_move(r) >= _MARKED for r in rows),
        "down": sum(_move(r) <= -_MARKED for r in rows),
        "actions": sum(r["action_before"] != r["action_after"] for r in rows),
        "reasons": sorted(Counter(r["why"] for r in rows).items(), key=lambda item: (-item[1], item[0])),
    }


def _move(row: Row) -> float:
    return float((row["chance_after"] or 0.0) - (row["chance_before"] or 0.0))


def _weight(row: Row) -> tuple[Any, ...]:
    """Return what puts the rows in order: another action first, then how far the expected loss moved."""
    far = abs((row["expected_loss_after"] or 0.0) - (row["expected_loss_before"] or 0.0))
    return (row["action_before"] == row["action_after"], -far, row["boat_id"], row["fitting_id"])


def _files(before: Run, now: Run) -> list[tuple[str, str]]:
    """Return (file, what became of it) for files that are new, gone or other than before."""
    names = sorted({*before.files, *now.files})
    kinds = ((n, before.files.get(n), now.files.get(n)) for n in names)
    return [(n, "new" if was is None else "gone" if sha is None else "other") for n, was, sha in kinds if was != sha]


def _settings(before: Run, now: Run) -> list[tuple[str, Any, Any]]:
    """Return (key, value before, value now); None where the default is in force."""
    keys = sorted({*before.settings, *now.settings})
    pairs = ((k, before.settings.get(k), now.settings.get(k)) for k in keys)
    return [(k, was, value) for k, was, value in pairs if was != value]
