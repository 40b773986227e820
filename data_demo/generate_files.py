"""Writers of the demo's files; the same rows give the same bytes on every machine (Parquet: with one pyarrow)."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from bobstay.tables import INPUT_BY_NAME

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from .generate_looks import Row

_EXTRA = {"boats": ("owner",), "fittings": (), "events": ()}


def columns_of(name: str) -> tuple[str, ...]:
    """Return the columns of a demo file: those of its table, and what its owner added."""
    table = name.split("_", maxsplit=1)[0]
    return tuple(c.name for c in INPUT_BY_NAME[table].columns) + _EXTRA.get(table, ())


def write_csv(path: Path, columns: Sequence[str], rows: Sequence[Row]) -> None:
    """Write rows as UTF-8 text with commas and plain line ends."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([row.get(c, "") for c in columns] for row in rows)
    path.write_bytes(text.getvalue().encode())


def write_parquet(path: Path, columns: Sequence[str], rows: Sequence[Row]) -> None:
    """Write rows as Parquet: numbers as numbers, all else as text, empty as null."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    numeric = {c.name for c in INPUT_BY_NAME["inspections"].columns if c.kind in {"number", "integer"}}
    arrays = {
        c: pa.array([_number(r.get(c, "")) for r in rows], pa.float64())
        if c in numeric
        else pa.array([r.get(c) or None for r in rows], pa.string())
        for c in columns
    }
    pq.write_table(pa.table(arrays), path, compression="zstd")


def _number(text: str) -> float | None:
    return float(text) if text else None


_STATIC = {
    "[Content_Types].xml": (
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        '<Override PartName="/xl/workbook.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
        '<Override PartName="/xl/styles.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>'
        '<Override PartName="/xl/worksheets/sheet1.xml" '
        'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>'
    ),
    "_rels/.rels": (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Target="xl/workbook.xml" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument"/></Relationships>'
    ),
    "xl/_rels/workbook.xml.rels": (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Target="worksheets/sheet1.xml" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"/>'
        '<Relationship Id="rId2" Target="styles.xml" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles"/></Relationships>'
    ),
    "xl/workbook.xml": (
        '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
        'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
        '<sheets><sheet name="inspections" sheetId="1" r:id="rId1"/></sheets></workbook>'
    ),
    # Cell style 1 is a day (number format 14).
    "xl/styles.xml": (
        '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        '<fonts count="1"><font><sz val="11"/><name val="Calibri"/></font></fonts>'
        '<fills count="2"><fill><patternFill patternType="none"/></fill>'
        '<fill><patternFill patternType="gray125"/></fill></fills>'
        '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
        '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
        '<cellXfs count="2"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
        '<xf numFmtId="14" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/></cellXfs></styleSheet>'
    ),
}
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_EPOCH = date(1899, 12, 30)  # day 0 of a spreadsheet's calendar (from 1900-03-01 on)
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the zip's time stamp, so that bytes do not depend on the clock


def write_xlsx(path: Path, columns: Sequence[str], rows: Sequence[Row]) -> None:
    """Write rows as a workbook of one sheet: days as days, numbers as numbers, all else as text.

    Written by hand (ECMA-376 part 1, section 18.3): a writing library would be needed for this one file only, and
    puts the time of writing into it.
    """
    lines = [_line(1, list(columns))] + [_line(n, [r.get(c, "") for c in columns]) for n, r in enumerate(rows, start=2)]
    sheet = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        + "".join(lines)
        + "</sheetData></worksheet>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for name, text in (_STATIC | {"xl/worksheets/sheet1.xml": sheet}).items():
            entry = zipfile.ZipInfo(name, _LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            book.writestr(entry, _HEAD + text)


def _line(number: int, texts: list[str]) -> str:
    cells = "".join(_cell(f"{chr(65 + n)}{number}", text) for n, text in enumerate(texts) if text)
    return f'<row r="{number}">{cells}</row>'


def _cell(place: str, text: str) -> str:
    if text.replace(".", "", 1).isdigit():
        return f'<c r="{place}"><v>{text}</v></c>'
    if (day := _day(text)) is not None:
        return f'<c r="{place}" s="1"><v>{(day - _EPOCH).days}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t>{escape(text)}</t></is></c>'


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        return None
