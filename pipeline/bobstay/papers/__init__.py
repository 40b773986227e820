"""Papers for the yard, the members and the owners: worksheets as PDF and workbooks, lists, letters, a calendar."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

from bobstay.papers import bulletin, letters, wall, worksheets
from bobstay.papers.book import worksheet_book
from bobstay.papers.calendar import plan_calendar
from bobstay.papers.lines import fleet_mark, list_lines
from bobstay.papers.priority_book import priority_book
from bobstay.papers.source import read_source
from bobstay.papers.typeset import setter, written
from bobstay.report.fleet import rows

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date
    from pathlib import Path

    import duckdb

    from bobstay.papers.source import Boat, Source
    from bobstay.report.fleet import Row
    from bobstay.settings import Settings

__all__ = ["list_lines", "write_papers"]

_PRIORITY = 'SELECT * FROM priority ORDER BY "list", "rank"'
_GUIDANCE = "SELECT * FROM guidance ORDER BY fitting_type, material"
_PLAN = "SELECT * FROM haul_plan ORDER BY boat_id, starts_on, slot_id, fitting_id"
_BOATS_A_VOLUME = 60  # of the file for the printer: the typesetter holds a whole file in memory
_MOST_AT_ONCE = 4  # setting a page frees the interpreter, so threads share the cores


def write_papers(
    con: duckdb.DuckDBPyConnection, out: Path, *, settings: Settings, as_of: date, say: Callable[[str], None]
) -> list[Path]:
    """Write all papers under `out` from the tables in the store; return what was written.

    Raises UsageError where an earlier stage has not been run.
    """
    source = read_source(con, settings=settings, as_of=as_of, fleet_mark=fleet_mark(con))
    made = _worksheets(source, out / "worksheets")
    priority = rows(con, _PRIORITY)
    by_boat: dict[str, list[Row]] = {}
    for row in priority:
        by_boat.setdefault(row["boat_id"], []).append(row)
    made += _letters(source, by_boat, out / "letters")
    made.append(_set(source, "guidance", out, bulletin.content(source, rows(con, _GUIDANCE))))
    made.append(_set(source, "wall_sheet", out, wall.content(source, by_boat)))
    made.append(written(out / "priority.xlsx", priority_book(source, priority)))
    made.append(written(out / "haul_plan.ics", plan_calendar(source, rows(con, _PLAN))))
    say(f"wrote {len(made)} papers")
    return made


def _worksheets(source: Source, folder: Path) -> list[Path]:
    """Write each boat's sheet as PDF and workbook, and all of them in one file for the printer."""
    count = max(1, min(_MOST_AT_ONCE, os.cpu_count() or 1))
    with ThreadPoolExecutor(count) as threads:
        volumes = [threads.submit(_volume, source, n, folder) for n in range(_volume_count(source))]
        parts = [threads.submit(_sheets, source, source.boats[n::count], folder) for n in range(count)]
        books = [written(folder / f"{b.file}.xlsx", worksheet_book(source, b)) for b in source.boats]
        return [*books, *(path for part in parts for path in part.result()), *(v.result() for v in volumes)]


def _sheets(source: Source, boats: Sequence[Boat], folder: Path) -> list[Path]:
    with setter("worksheet", as_of=source.as_of) as made:
        return [
            written(folder / f"{boat.file}.pdf", made(worksheets.content(source, [boat], title=_title(source, boat))))
            for boat in boats
        ]


def _letters(source: Source, by_boat: Mapping[str, Sequence[Row]], folder: Path) -> list[Path]:
    with setter("letters", as_of=source.as_of) as made:
        return [
            written(folder / f"{boat.file}.pdf", made(letters.content(source, boat, by_boat[boat.boat_id])))
            for boat in source.boats
            if boat.boat_id in by_boat
        ]


def _set(source: Source, template: str, folder: Path, content: Mapping[str, Any]) -> Path:
    with setter(template, as_of=source.as_of) as made:
        return written(folder / f"{template}.pdf", made(content))


def _title(source: Source, boat: Boat) -> str:
    return source.say("worksheet.title", boat=boat.name)


def _volume_count(source: Source) -> int:
    return max(1, -(-len(source.boats) // _BOATS_A_VOLUME))


def _volume(source: Source, number: int, folder: Path) -> Path:
    """Write a file for the printer, boats in the order in which the yard meets them; without tags: it is only printed.

    A big fleet has several: all.pdf, all_2.pdf and so on.
    """
    boats = source.in_yard_order[number * _BOATS_A_VOLUME : (number + 1) * _BOATS_A_VOLUME]
    name = f"all_{number + 1}" if number else "all"
    while any(boat.file.casefold() == name for boat in source.boats):
        name += "~"
    content = worksheets.content(source, boats, title=source.say("worksheet.title_all"))
    with setter("worksheet", as_of=source.as_of, is_tagged=False) as made:
        return written(folder / f"{name}.pdf", made(content))
