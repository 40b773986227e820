"""Opens XLSX files: each sheet with known columns is a part; cells become text as a person would write them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from functools import partial
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from bobstay.errors import UnusableDataError
from bobstay.ingest import headers
from bobstay.ingest.formulas import silent_cells
from bobstay.ingest.lines import chosen
from bobstay.ingest.preflight import whole_file_sha256
from bobstay.ingest.record import Header, Part, Record, Rules
from bobstay.ingest.unpacking import refuse_bomb

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import numpy as np


def opened_workbook(path: Path, *, shown: str, rules: Rules) -> list[Part]:
    """Return the sheets that hold rows of a known table; the others are named in the notes of the first.

    Raises UnusableDataError where it is no workbook, is too large unpacked, or no sheet holds a known table.
    """
    refuse_bomb(path, shown)
    sha256 = whole_file_sha256(path)
    parts, faults = [], []
    for sheet, rows in sheets_of(path, shown):
        try:
            parts.append(_part(path, rows, file=shown, sheet=sheet, sha256=sha256, rules=rules))
        except UnusableDataError as fault:
            faults.append((sheet, fault))
    if not parts:
        raise faults[0][1] if len(faults) == 1 else _no_sheet(shown, faults)
    notes = tuple(f"{shown}: sheet {sheet} is not used: {fault.what}" for sheet, fault in faults)
    return [_with_notes(parts[0], notes), *parts[1:]]


def _no_sheet(shown: str, faults: list[tuple[str, UnusableDataError]]) -> UnusableDataError:
    said = "; ".join(f"{sheet}: {fault.what}" for sheet, fault in faults)
    what = f"no sheet holds a known table ({said})"
    return UnusableDataError(what, where=shown, remedy="name the columns as the guide does")


def _with_notes(part: Part, notes: tuple[str, ...]) -> Part:
    return replace(part, notes=part.notes + notes)


# where the reader is surprised, it raises a PanicException, which is no Exception
_UNREADABLE = (ValueError, KeyError, IndexError, OSError, ElementTree.ParseError)


def sheets_of(path: Path, shown: str) -> Iterator[tuple[str, list[list[Any]]]]:
    """Yield each sheet's name and all its rows; raises UnusableDataError."""
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        book = CalamineWorkbook.from_path(str(path))
        silent = silent_cells(path)
        for name in book.sheet_names:
            rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
            yield name, _spoken(rows, silent.get(name, {}))
    except BaseException as fault:
        if not isinstance(fault, (CalamineError, *_UNREADABLE)) and type(fault).__name__ != "PanicException":
            raise
        raise UnusableDataError(
            f"the workbook cannot be read: {fault}", where=shown, remedy="save it again as XLSX, or as CSV"
        ) from fault


def _spoken(rows: list[list[Any]], silent: dict[tuple[int, int], str]) -> list[list[Any]]:
    """Return the rows with the texts of the `silent` cells put in."""
    if not silent:
        return rows
    height = max(len(rows), *(row + 1 for row, _ in silent))
    width = max([*map(len, rows), *(column + 1 for _, column in silent)])
    spoken = [[*cells, *[""] * (width - len(cells))] for cells in [*rows, *[[]] * (height - len(rows))]]
    for (row, column), text in silent.items():
        spoken[row][column] = text
    return spoken


def _part(path: Path, rows: list[list[Any]], *, file: str, sheet: str, sha256: str, rules: Rules) -> Part:
    shown = f"{file} [{sheet}]"
    head = [(n, tuple(as_text(c) or "" for c in row)) for n, row in enumerate(rows[: headers.SEARCHED_LINES], start=1)]
    header = headers.recognised([_trimmed(r) for r in head if any(r[1])], shown=shown, table=rules.table)
    if not any(any(cell not in (None, "") for cell in row) for row in rows[header.line :]):
        raise headers.nothing_in(shown)
    notes = (f"{shown}: the header is row {header.line}; the rows above it are not used",) if header.line > 1 else ()
    read = partial(_records, rows, header)
    return Part(path, file, sheet, sha256, "xlsx", header, read, notes=notes)


def _trimmed(row: headers.Row) -> headers.Row:
    """Drop the empty cells after the last name: a sheet is as wide as its widest row."""
    number, cells = row
    width = max(place for place, cell in enumerate(cells, start=1) if cell)
    return number, cells[:width]


def _records(rows: list[list[Any]], header: Header, wanted: np.ndarray | None = None) -> Iterator[Record]:
    every = rows_after(rows, width=len(header.names), after=header.line)
    return every if wanted is None else chosen(every, wanted)


def rows_after(rows: list[list[Any]], *, width: int, after: int) -> Iterator[Record]:
    """Yield the rows after row `after`, each with `width` cells or a fault; rows with nothing in them are no rows."""
    for number, row in enumerate(rows[after:], start=after + 1):
        cells = tuple(as_text(cell) for cell in row)
        kept = cells[:width] + (None,) * (width - len(cells))
        if any(cells[width:]):
            hint = "a cell stands to the right of the last column that has a name"
            yield Record(number, cells, "wrong number of cells", hint)
        elif any(kept):
            yield Record(number, kept)


def as_text(cell: Any) -> str | None:
    """Return a cell as text: whole numbers without a point, days as ISO days; None where it is empty."""
    if cell is None or cell == "":
        return None
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        is_day = (cell.hour, cell.minute, cell.second, cell.microsecond) == (0, 0, 0, 0)
        return cell.date().isoformat() if is_day else cell.isoformat(sep=" ")
    return cell.isoformat() if isinstance(cell, date) else str(cell)
