"""Rows and cells that are wrong on purpose, so that a run of the demo shows what is set aside and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .generate_looks import Row


@dataclass(frozen=True, slots=True)
class Wrong:
    """One planted fault: in which file, what is wrong, and the cells that differ from a good row."""

    file: str
    fault: str
    cells: dict[str, str]
    is_row: bool = True  # the whole row is set aside; else one optional cell only
    at: float = 0.5  # where in the file

    def among(self, rows: list[Row]) -> list[Row]:
        """Return the rows with the fault in place: a further row, or one good row with a cell spoilt."""
        n = int(self.at * len(rows))
        if self.is_row:
            return [*rows[:n], rows[n] | {"note": "wrong on purpose"} | self.cells, *rows[n:]]
        return [*rows[:n], rows[n] | self.cells, *rows[n + 1 :]]


_CHARTER, _SCHOOL, _CLUB = "inspections_charter", "inspections_school", "inspections_club"

WRONG: tuple[Wrong, ...] = (
    Wrong(_CHARTER, "unknown result word", {"inspection_id": "C90001", "result": "looks ok"}, at=0.1),
    Wrong(_CHARTER, "unknown method word", {"inspection_id": "C90002", "method": "tapping"}, at=0.2),
    Wrong(_CHARTER, "unknown boat", {"inspection_id": "C90003", "boat_id": "C99"}, at=0.3),
    Wrong(_CHARTER, "unknown fitting", {"inspection_id": "C90004", "fitting_id": "CP99"}, at=0.4),
    Wrong(_CHARTER, "impossible date", {"inspection_id": "C90005", "inspected_on": "2019-02-30"}, at=0.5),
    Wrong(_CHARTER, "date in the future", {"inspection_id": "C90006", "inspected_on": "2062-03-14"}, at=0.6),
    Wrong(
        _CHARTER,
        "look before installation",
        {"inspection_id": "C90007", "boat_id": "C20", "fitting_id": "SF1", "inspected_on": "2011-12-01"},
        at=0.7,
    ),
    Wrong(_CHARTER, "look after the boat left", {"inspection_id": "C90008", "inspected_on": "2026-02-20"}, at=0.001),
    Wrong(_CHARTER, "duplicate inspection_id", {"inspection_id": "C00100", "result": "inconclusive"}, at=0.9),
    Wrong(_SCHOOL, "result not stated", {"inspection_id": "S90001", "result": ""}, at=0.25),
    Wrong(_SCHOOL, "date in an undeclared form", {"inspection_id": "S90002", "inspected_on": "3/4/19"}, at=0.5),
    Wrong(_SCHOOL, "boat not stated", {"inspection_id": "S90003", "boat_id": ""}, at=0.75),
    Wrong(_CLUB, "unknown boat", {"inspection_id": "M90001", "boat_id": "M8O"}, at=0.5),
    Wrong(_CLUB, "unknown method word", {"inspection_id": "M90002", "method": "by torch"}, at=0.8),
    Wrong("fittings", "unknown boat", {"boat_id": "C00", "fitting_id": "CP1"}, at=0.2),
    Wrong(
        "fittings",
        "removed before it was installed",
        {"fitting_id": "CP98", "installed": "2015-06-01", "removed": "2012-06-01"},
        at=0.6,
    ),
    Wrong("events", "unknown kind", {"kind": "bumped", "note": "wrong on purpose"}, at=0.5),
    Wrong(_CHARTER, "temperature is not a number", {"part_temp_c": "cold"}, is_row=False, at=0.35),
    Wrong(_CHARTER, "unknown scope", {"scope": "half off"}, is_row=False, at=0.65),
    Wrong(_SCHOOL, "length with a unit", {"indication_length_mm": "2 mm"}, is_row=False, at=0.4),
    Wrong("fittings", "consequence out of range", {"consequence": "9"}, is_row=False, at=0.4),
    Wrong("boats", "hours are not a number", {"hours_per_year": "many"}, is_row=False, at=0.9),
)


def spoil(tables: dict[str, list[Row]]) -> dict[str, list[Row]]:
    """Return the tables with every planted fault in place."""
    spoilt = dict(tables)
    for wrong in WRONG:
        spoilt[wrong.file] = wrong.among(spoilt[wrong.file])
    return spoilt
