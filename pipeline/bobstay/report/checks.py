"""What the page of evidence shows of the checks beside the estimate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bobstay.report.fleet import Fleet, Row

ALL = "all fittings"
WIDTH, EDGE = 300.0, 6.0  # of the axis that the template draws, and its margin
LONGEST = 100  # years of the axis at most: a reading that claims more would press all others into its first corner


@dataclass(frozen=True, slots=True)
class Mark:
    """One line of the small chart: a dot and its interval, in units of the drawing (None: none, or off it)."""

    row: Row
    at: float | None
    low: float | None
    high: float | None
    goes_on: bool  # beyond the end of the axis


def checks_of(fleet: Fleet) -> dict[str, Any]:
    """Return the context of the checks; a table that was not made is an empty list."""
    tables = fleet.tables
    pooled = [r for r in tables["shortcuts"] if r["fitting_type"] == ALL]
    marks, ticks = _marks(pooled)
    return {
        "marks": marks,
        "ticks": ticks,
        "axis": (EDGE, EDGE + WIDTH),
        "shortcut_names": [r["shortcut"] for r in pooled],
        "shortcuts_by_class": _cells(fleet, tables["shortcuts"], [r["shortcut"] for r in pooled]),
        "families_of_all": [r for r in tables["families"] if r["fitting_type"] == ALL],
        "families_by_class": _by_class(fleet, [r for r in tables["families"] if r["fitting_type"] != ALL]),
        "better_families": [r for r in tables["families"] if r["is_clearly_better"]],
        "flagged": [r for r in tables["fit_checks"] if r["is_flagged"] and r["fitting_type"] != ALL],
        "foretold": next((r for r in tables["fit_checks"] if r["fitting_type"] == ALL), None),
        "clock_of_all": next((r for r in tables["use_clock"] if r["fitting_type"] == ALL), None),
    }


def _cells(fleet: Fleet, rows: list[Row], names: list[str]) -> dict[str, list[Row | None]]:
    """Return by class one row a shortcut, None where it has none or no number."""
    by_class = _by_class(fleet, [r for r in rows if r["fitting_type"] != ALL and r["b10_years"] is not None])
    return {key: [next((r for r in own if r["shortcut"] == n), None) for n in names] for key, own in by_class.items()}


def _by_class(fleet: Fleet, rows: list[Row]) -> dict[str, list[Row]]:
    table: dict[str, list[Row]] = {}
    for row in rows:
        table.setdefault(fleet.class_name(row), []).append(row)
    return table


def _marks(rows: list[Row]) -> tuple[list[Mark], list[tuple[float, int]]]:
    """Return the lines of the chart and the ticks of its axis (place, years), which begins at 0."""
    keys = ("b10_years", "b10_years_lower", "b10_years_upper")
    ends = [r[k] for r in rows for k in keys if r[k] is not None]
    if not ends:
        return [], []
    furthest = min(max(ends), LONGEST)
    step = next(s for s in (1, 2, 5, 10, 20) if furthest <= 6 * s)
    top = step * min(int(furthest / step) + 1, LONGEST // step)
    return [_mark(r, *(r[k] for k in keys), top=top) for r in rows], [
        (EDGE + WIDTH * t / top, t) for t in range(0, top + 1, step)
    ]


def _mark(row: Row, at: float | None, low: float | None, high: float | None, *, top: int) -> Mark:
    def place(years: float) -> float:
        return EDGE + WIDTH * min(years, top) / top

    dot = place(at) if at is not None and at <= top else None
    is_span = low is not None and high is not None
    first, last = (place(y) if is_span and y is not None else None for y in (low, high))
    return Mark(row, dot, first, last, goes_on=any(y is not None and y > top for y in (at, high)))
