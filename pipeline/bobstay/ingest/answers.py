"""Worksheets that come back: each line finds its fitting by its code and becomes a look.

A line left without a result becomes `not_inspected`, which tells nothing of the part, and never takes the place of an
answer that came with another copy of the sheet. What is half or wrongly filled is set aside with its reason.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from bobstay import codes
from bobstay.ingest.cells import plain_word
from bobstay.ingest.desk import Desk, Line
from bobstay.ingest.record import Header, Part, Record
from bobstay.tables import ANSWERS, INSPECTIONS, LOOK_OF_SHEET, RESULTS
from bobstay.vocabulary import load

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb
    import numpy as np

    Cells = dict[str, str]

EVERY_LINE = "*"
OURS = ("what", "where", "reach", "do", "why", "line_of")  # columns we wrote for the reader; nothing comes back in them
_ADDED = ("inspection_id", "boat_id", "fitting_id", "inspected_on", "method")
_CONVERTED = {"part_temp_f": "part_temp_c", "indication_length_in": "indication_length_mm"}
# What the line for every line cannot say: it is of one part only.
_OF_ONE = ("result", "indication_form", "indication_length_mm", "indication_length_in", "replaced_by")
_BESIDE = ("code", "line_of", "inspected_on", "inspector", "note")  # may stand in a line without a result
_DAY_LENGTH = len("2026-11-20")


class LineError(Exception):
    """Why a line cannot be used, and how to mend it."""

    def __init__(self, reason: str, hint: str) -> None:
        super().__init__(reason)
        self.reason, self.hint = reason, hint


def as_looks(con: duckdb.DuckDBPyConnection, part: Part) -> Part:
    """Return the part of answers as a part of looks, its lines matched by their codes when they are read."""
    said = part.header
    added = [name for name in _ADDED if name not in said.columns]
    names = (*said.names, *(f"{name} by the code" for name in added))
    columns = (*(_ours(n, c) for n, c in zip(said.names, said.columns, strict=True)), *added)
    keys = (*(_CONVERTED.get(c or "", c) or n for n, c in zip(said.names, said.columns, strict=True)), *added)
    header = Header(said.line, names, columns, INSPECTIONS)

    def read(wanted: np.ndarray | None = None) -> Iterator[Record]:
        if wanted is None:
            return _looks(list(part.records(None)), said, keys, Desk.of(con))
        return (replace(row, cells=(*row.cells, *[None] * len(added))) for row in part.records(wanted))

    note = f"{part.shown}: a worksheet that comes back; its lines are found by their codes"
    return replace(part, header=header, records=read, scan=None, is_worksheet=True, notes=(*part.notes, note))


def _ours(name: str, column: str | None) -> str | None:
    """Return the look's column that an answer's column fills; None: kept beside it, empty: not kept."""
    if name in OURS or column == "line_of":
        return ""
    known = _CONVERTED.get(column or "", column)
    return known if known in INSPECTIONS.column_names else None


def _looks(rows: list[Record], said: Header, keys: tuple[str, ...], desk: Desk) -> Iterator[Record]:
    """Yield each line as a look, or with the fault that says why it is none; the line for every line is no row."""
    filled = {row.line: _cells(row, said) for row in rows if row.fault is None}
    shared: Cells = {}
    for row in rows:
        if filled.get(row.line, {}).get("code") == EVERY_LINE:
            shared |= {k: v for k, v in filled[row.line].items() if k not in (*OURS, "code")}
    newest = max((c.get("inspected_on", "") for c in (*filled.values(), shared)), key=_as_day, default="")
    for row in rows:
        cells = filled.get(row.line)
        if cells is None:
            yield row
        elif cells.get("code") == EVERY_LINE:
            yield from _refused(row, cells)
        elif any(cells.values()):
            yield _laid_out(row, _look(cells, _usable(shared), newest if _as_day(newest) else "", desk), keys)


def _as_day(text: str) -> str:
    return text if len(text) == _DAY_LENGTH and text.count("-") == 2 else ""


def _usable(shared: Cells) -> Cells:
    return {name: text for name, text in shared.items() if name not in _OF_ONE}


def _refused(row: Record, cells: Cells) -> Iterator[Record]:
    """Yield the line for every line only where it says what no line can say for all."""
    if any(cells.get(name) for name in _OF_ONE):
        hint = "write results, lengths and new parts into the lines of their parts"
        yield replace(row, fault="a result for every line at once is not taken", hint=hint)


def _cells(row: Record, said: Header) -> Cells:
    """Return what is filled in, trimmed, by column: our name, or the heading as it stands."""
    pairs = zip(said.names, said.columns, row.cells, strict=True)
    return {column or name: cell.strip() for name, column, cell in pairs if cell and cell.strip()}


def _look(cells: Cells, shared: Cells, newest: str, desk: Desk) -> Cells | LineError:
    try:
        line = _found(cells, desk)
        look = _answered(cells, shared, line) if cells.get("result") else _unanswered(cells, shared, newest, line, desk)
    except LineError as fault:
        return fault
    ids = {"inspection_id": f"{LOOK_OF_SHEET}{line.code}", "boat_id": line.boat_id, "fitting_id": line.fitting_id}
    return {"code": line.code} | look | ids


def _laid_out(row: Record, look: Cells | LineError, keys: tuple[str, ...]) -> Record:
    if isinstance(look, LineError):
        return replace(row, fault=look.reason, hint=look.hint)
    return Record(row.line, tuple(look.get(key) for key in keys))


def _found(cells: Cells, desk: Desk) -> Line:
    """Return the line of the sheet that a code names; raises LineError where it names none."""
    if not cells.get("code"):
        raise LineError("the line has no code", "copy the code from the sheet")
    read = codes.read(cells["code"])
    if read.code is None:
        raise LineError(read.reason, f"{cells['code']}: {_guess(cells['code'], desk)}{read.hint}")
    line = desk.lines.get(read.code)
    if line is None:
        hint = f"{read.code}: {_guess(cells['code'], desk)}it may be of another fleet's sheet"
        raise LineError("no sheet of this store has this code", hint)
    if cells.get("line_of", line.line_of(desk.mark)) != line.line_of(desk.mark):
        raise _misplaced(cells["line_of"], line, desk.mark)
    return line


def _guess(code: str, desk: Desk) -> str:
    """Return the question whether a known code was meant; it goes through all of them, so only for what is no code."""
    near = codes.nearest(code, desk.lines)
    return f"did you mean {' or '.join(near[:3])}? " if near else ""


def _misplaced(line_of: str, line: Line, mark: str) -> LineError:
    if not line_of.startswith(f"{mark}/"):
        return LineError(
            "the sheet is of another fleet", f"it is marked {line_of.partition('/')[0]}, this store {mark}"
        )
    hint = f"the code is of {line.boat_id} {line.fitting_id}, the line was written for {line_of.partition('/')[2]}"
    return LineError("the code stands in the line of another part", f"{hint}: were the lines sorted in parts?")


def _answered(cells: Cells, shared: Cells, line: Line) -> Cells:
    """Return the look that an answered line tells of."""
    told = shared | cells
    if not told.get("method"):
        if _result(told["result"]) != "not_inspected":
            raise LineError("a result without a method", "say by which method the part was looked at")
        told["method"] = line.method
    if not told.get("inspected_on"):
        raise LineError("a result without a day", "say on which day the part was looked at")
    return _converted(told)


def _result(word: str) -> str | None:
    """Return the result that a word in any known language stands for."""
    plain = plain_word(word)
    return plain if plain in RESULTS else load().canonical("result", word)


def _unanswered(cells: Cells, shared: Cells, newest: str, line: Line, desk: Desk) -> Cells:
    """Return a look that says nobody looked, or the answer that is there already."""
    answers = [name for name in ANSWERS.column_names if name not in _BESIDE and cells.get(name)]
    if answers:
        raise LineError(
            "half filled: no result", f"{', '.join(answers)} is filled in: tick a result, or empty the line"
        )
    if (known := desk.answers.get(line.code)) is not None:
        return known
    day = cells.get("inspected_on") or shared.get("inspected_on") or newest
    if not day:
        raise LineError("nothing on this sheet is filled in", "fill it in, or say on which day it was closed")
    told = {"result": "not_inspected", "method": line.method, "inspected_on": day}
    return told | {name: cells[name] for name in ("inspector", "note") if name in cells}


def _converted(told: Cells) -> Cells:
    """Return the cells in Celsius and mm; a number that cannot be read stays as it came, to be told of."""
    made = dict(told)
    for name, ours in _CONVERTED.items():
        if name in told:
            made[ours] = _in_our_unit(name, told[name])
    return made


def _in_our_unit(name: str, text: str) -> str:
    try:
        number = float(text)
    except ValueError:
        return text
    return repr(round((number - 32) / 1.8 if name == "part_temp_f" else number * 25.4, 2))
