"""Looks at a workbook's archive before any reader unpacks it: is it one, is it whole, and does it stay within bounds.

A small archive may unpack to gigabytes, a single cell far to the right and down makes its reader lay out a whole sheet,
and one long shared text may stand in a million cells. Each bound here is far above what records of boats need.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from typing import TYPE_CHECKING

import numpy as np

from bobstay.errors import UnusableDataError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import numpy.typing as npt

UNPACKED_LIMIT = 256 << 20  # bytes a workbook may unpack to: a million rows of records take about a third
CELLS_LIMIT = 5_000_000  # cells of the boxes from A1 to the last cell in use, over all sheets
INDEX_LIMIT = 16 << 20  # bytes of the members that only list others
TEXT_LIMIT = 200_000  # bytes of one text: a spreadsheet's cell holds 32,767 characters
TEXTS_LIMIT = 400 << 20  # bytes of all texts, each as often as a cell shows it
_OLE = bytes.fromhex("d0cf11e0a1b11ae1")  # an encrypted workbook, or one of the form before XLSX
_BLOCK = 8 << 20
_CELL = re.compile(rb"<(?:\w+:)?c(?:\s[^>]*)?(?<!/)>")  # not those that only have a look
_ROW = re.compile(rb"<(?:\w+:)?row\b[^>]*?\br\s*=\s*[\"']([0-9]{1,7})[\"']")
_REFERENCE = re.compile(rb"\br\s*=\s*[\"']([A-Za-z]{1,3})([0-9]{1,7})[\"']")
_CELL_STARTS = (b"<c ", b"<c>", b"<c/", b"<c\t", b"<c\n", b"<c\r", b":c ", b":c>", b":c/", b":c\t", b":c\n", b":c\r")
_WITHIN = tuple(  # no cell stands beyond this column and so many digits of rows: so many cells at most
    (bound, re.compile(rb'<c r="(?!' + columns + rb"[0-9]{1," + digits + rb'}")'))
    for bound, columns, digits in (
        (78 * 999, rb"(?:[AB]?[A-Z])", b"3"),
        (78 * 9_999, rb"(?:[AB]?[A-Z])", b"4"),
        (26 * 99_999, rb"[A-Z]", b"5"),
    )
)
_SHARED_TEXT = re.compile(rb"<(?:\w+:)?si\b.*?</(?:\w+:)?si>", re.DOTALL)
_SHARED_CELL = re.compile(rb"<(?:\w+:)?c\b[^>]*\bt\s*=\s*[\"']s[\"'][^>]*>\s*<(?:\w+:)?v>\s*([0-9]{1,9})")
_BAD_ARCHIVE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError)


def refuse_bomb(path: Path, shown: str) -> None:
    """Raise UnusableDataError where the file is no whole workbook, or would take more memory than may be."""
    with path.open("rb") as file:
        if file.read(len(_OLE)) == _OLE:
            raise UnusableDataError(
                "the workbook is locked with a password, or of the form before XLSX",
                where=shown,
                remedy="open it with its password and save it without one, as XLSX or CSV",
            )
    try:
        with zipfile.ZipFile(path) as archive:
            _look_through(archive, shown)
    except _BAD_ARCHIVE as fault:
        raise UnusableDataError(
            f"it is not an XLSX workbook that can be read: {fault}",
            where=shown,
            remedy="save it again as XLSX, or as CSV",
        ) from fault


def _look_through(archive: zipfile.ZipFile, shown: str) -> None:
    members = archive.infolist()
    _refuse_over("bytes unpacked", sum(entry.file_size for entry in members), UNPACKED_LIMIT, shown)
    cells, shared, sheets = 0, np.zeros(0, dtype=np.int64), []
    for entry in members:
        content = archive.read(entry)  # raises where it is not as long as it declares, or damaged
        if not entry.filename.endswith((".xml", ".rels")):
            continue
        if entry.filename.endswith("sharedStrings.xml"):
            shared = np.array([len(text[0]) for text in _SHARED_TEXT.finditer(content)], dtype=np.int64)
        if entry.filename.startswith("xl/worksheets/") and entry.filename.endswith(".xml"):
            sheets.append(entry)
            cells += _box(content)
        elif entry.filename.endswith((".rels", "workbook.xml")):
            _refuse_over("bytes of index", len(content), INDEX_LIMIT, shown)
        _refuse_over("bytes in one text", max(_longest_run(content), int(shared.max(initial=0))), TEXT_LIMIT, shown)
    if cells > CELLS_LIMIT:  # by the bounds of all sheets; now by each cell
        cells = sum(_exact_box(archive.read(sheet)) for sheet in sheets)
        _refuse_over("cells", cells, CELLS_LIMIT, shown)
    if cells * int(shared.max(initial=0)) > TEXTS_LIMIT:
        shown_bytes = sum(_text_bytes(archive.read(sheet), shared) for sheet in sheets)
        _refuse_over("bytes of text", shown_bytes, TEXTS_LIMIT, shown)


def _refuse_over(what: str, count: int, limit: int, shown: str) -> None:
    if count > limit:
        raise UnusableDataError(
            f"the workbook holds {count:,} {what}, over the limit of {limit:,}",
            where=shown,
            remedy="save its sheets as CSV files",
        )


def _box(sheet: bytes) -> int:
    """Return the cells of the box from A1 to the last row and column in which anything stands, or a bound of them."""
    if sheet.count(b'<c r="') == sum(map(sheet.count, _CELL_STARTS)):  # as nearly every program writes them
        for bound, beyond in _WITHIN:
            if not beyond.search(sheet):
                return bound
    return _exact_box(sheet)


def _exact_box(sheet: bytes) -> int:
    cells = [_REFERENCE.search(found[0]) for found in _CELL.finditer(sheet)]
    places = [place for place in cells if place]
    widest, longest = 1, 1
    if len(places) < len(cells):  # some do not say where they stand: then they stand beside each other
        places = list(_REFERENCE.finditer(sheet))
        widest = max(row.count(b"<c") for row in sheet.split(b"<row"))
        longest = max([sheet.count(b"<row"), *(int(found[1]) for found in _ROW.finditer(sheet))])
    columns = {place[1] for place in places}
    return max([longest, *(int(place[2]) for place in places)]) * max([widest, *map(_column, columns)])


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - ord("A") + 1
    return number


def _text_bytes(sheet: bytes, shared: npt.NDArray[np.int64]) -> int:
    """Return the bytes of the shared texts of a sheet, each as often as a cell shows it."""
    numbers = [int(found[1]) for found in _SHARED_CELL.finditer(sheet)]
    if len(numbers) < sheet.count(b"<v"):
        numbers += [int(shared.argmax())] * (sheet.count(b"<v") - len(numbers))  # numbers, or written in another way
    uses = np.array(numbers, dtype=np.int64)
    return int(shared[uses[uses < len(shared)]].sum())


def _longest_run(content: bytes) -> int:
    """Return the longest way between two marks of XML: no text is longer."""
    return max(map(int, _runs(content)), default=0)


def _runs(content: bytes) -> Iterator[int]:
    last = 0
    for start in range(0, len(content), _BLOCK):
        block = np.frombuffer(content, dtype=np.uint8, count=min(_BLOCK, len(content) - start), offset=start)
        places = np.append(last, np.flatnonzero(block == ord("<")) + start)
        yield np.diff(places).max(initial=0)
        last = int(places[-1])
    yield len(content) - last
