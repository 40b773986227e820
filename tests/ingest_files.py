"""A small invented fleet as input files, and a short way to take files into a store of their own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from bobstay.ingest import IngestReport, ingest
from bobstay.store import opened

if TYPE_CHECKING:
    from pathlib import Path

LIMIT = date(2027, 1, 10)

BOATS = """boat_id,boat_name,built,joined,left
B1,Sallow,2001,2010-05-01,
B2,"Ness, the second",1999-04,,2020-10-31
"""
FITTINGS = """boat_id,fitting_id,fitting_type,material,installed,removed,consequence
B1,CP1,chainplate,316 stainless,2005-03-01,,4
B1,CP2,chainplate,316 stainless,2009~,,
B2,KB1,keel bolt,bronze,,,5
"""
LOOKS = """inspection_id,boat_id,fitting_id,inspected_on,method,result,part_temp_c
L1,B1,CP1,2012-02-01,penetrant,no_indication,18
L2,B1,CP2,2012-02-01,visual,relevant,
L3,B2,KB1,2015-11,ultrasonic,inconclusive,
"""


@dataclass(frozen=True)
class Taken:
    """What one call of ingest left behind."""

    report: IngestReport
    said: list[str]
    tables: dict[str, list[dict[str, Any]]]
    merged: list[tuple[Any, ...]]  # column, word, shown as, rows

    def reasons(self) -> list[tuple[str, int, str | None, str]]:
        """(file, line, column, reason) of each row set aside."""
        return [(r["file"], r["line"], r["column"], r["reason"]) for r in self.tables["set_aside"]]


TABLES = {
    "boats": "file_id, line",
    "fittings": "file_id, line",
    "inspections": "file_id, line",
    "events": "file_id, line",
    "slots": "file_id, line",
    "availability": "file_id, line",
    "prices": "file_id, line",
    "files": "file_id",
    "set_aside": "file, line",
    "cells_unread": 'file, line, "column"',
}


def contents(con: Any) -> dict[str, list[dict[str, Any]]]:
    """Return every table that ingest writes, as dictionaries in a fixed order."""
    held = {}
    for name, order in TABLES.items():
        cursor = con.execute(f'SELECT * FROM "{name}" ORDER BY {order}')
        columns = [d[0] for d in cursor.description]
        held[name] = [dict(zip(columns, row, strict=True)) for row in cursor.fetchall()]
    return held


def write(folder: Path, **files: str | bytes) -> list[Path]:
    """Write files named by keyword (`boats_csv` is boats.csv)."""
    paths = []
    for name, text in files.items():
        stem, _, ending = name.rpartition("_")
        path = folder / f"{stem}.{ending}"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        paths.append(path)
    return paths


def fleet(folder: Path, **changed: str | bytes) -> list[Path]:
    """Write the small fleet, some of its files changed or added."""
    return write(folder, **{"boats_csv": BOATS, "fittings_csv": FITTINGS, "looks_csv": LOOKS, **changed})


def take(folder: Path, paths: list[Path], *, store: str = "s.duckdb", **options: Any) -> Taken:
    """Take `paths` into a store in `folder`; return all that is then in it."""
    said: list[str] = []
    options = {"limit": LIMIT, **options}
    with opened(folder / store, folders=[p.resolve().parent for p in paths], create=True) as con:
        report = ingest(con, paths, say=said.append, **options)
        merged = con.execute('SELECT "column", word, shown_as, rows FROM words_merged ORDER BY ALL').fetchall()
        return Taken(report, said, contents(con), merged)


def row(taken: Taken, line: int) -> Any:
    """Return row_json of the row set aside on `line`."""
    return next(json.loads(r["row_json"]) for r in taken.tables["set_aside"] if r["line"] == line)
