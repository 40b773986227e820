"""Cells of a workbook that its reader gives back as empty though something stands there: errors, unworked formulas.

Taken for "not stated" they could turn a finding at one fitting into a look at the whole boat, so they are named.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from typing import TYPE_CHECKING
from xml.etree import ElementTree

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

NO_VALUE = "(formula without a value)"
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_CELL = re.compile(rb"<c\b([^>]*?)(?:/>|>(.*?)</c>)", re.DOTALL)
_REFERENCE = re.compile(rb'\br="([A-Z]+)([0-9]+)"')
_VALUE = re.compile(rb"<v\b[^>/]*>([^<]+)</v>")

Place = tuple[int, int]  # row and column, both from 0


def silent_cells(path: Path) -> dict[str, dict[Place, str]]:
    """Return, by sheet, the text for each cell that holds an error or a formula whose value was never worked out.

    Raises KeyError, ValueError or ElementTree.ParseError where the workbook is not laid out as ECMA-376 says.
    """
    with zipfile.ZipFile(path) as archive:
        return {name: dict(_silent(archive.read(member))) for name, member in _members(archive)}


def _members(archive: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Yield each sheet's name and the archive member that holds it."""
    # these two members are small, and the parser below caps how far entities may expand
    book = ElementTree.fromstring(archive.read("xl/workbook.xml"))  # noqa: S314
    links = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))  # noqa: S314
    targets = {link.get("Id"): link.get("Target", "") for link in links}
    there = set(archive.namelist())
    for sheet in book.iter(f"{_MAIN}sheet"):
        member = posixpath.normpath(posixpath.join("/xl", targets.get(sheet.get(_LINK), ""))).lstrip("/")
        if member in there:
            yield sheet.get("name", ""), member


def _silent(sheet: bytes) -> Iterator[tuple[Place, str]]:
    if b"<f" not in sheet and b't="e"' not in sheet:
        return  # nearly every sheet of records
    for found in _CELL.finditer(sheet):
        attributes, body = found[1], found[2] or b""
        value = _VALUE.search(body)
        reference = _REFERENCE.search(attributes)
        is_error = b't="e"' in attributes
        is_unworked = b"<f" in body and value is None and b't="str"' not in attributes
        if reference and (is_error or is_unworked):
            text = value[1].decode("utf-8", "replace") if is_error and value else NO_VALUE
            yield (int(reference[2]) - 1, _column(reference[1])), text


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number - 1
