"""A boat's worksheet as a workbook: drop-downs in the words of results, methods and actions; nothing runs in it.

Two rows of headings: one for people, and under it the names by which `bobstay ingest` knows the columns again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bobstay.papers.cells import Sheet, opened_book
from bobstay.papers.worksheets import HIGHEST_C, LOWEST_C, slot_of, to_do, where_of, why_of
from bobstay.tables import ACTIONS_TAKEN, METHODS, RESULTS, SCOPES

if TYPE_CHECKING:
    from bobstay.papers.source import Boat, Source
    from bobstay.report.fleet import Row

HEADINGS = 5  # the row, counted from 0, of the headings for people; the names follow
EVERY_LINE = "*"


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, its heading's words, its width, and the words that may be chosen (none: free)."""

    name: str
    heading: str
    width: float
    choices: tuple[str, ...] = ()
    is_filled: bool = False  # by the yard
    is_hidden: bool = False


def columns_of(source: Source) -> list[Column]:
    """Return the columns in their order, in the words and units in force."""
    say, word = source.say, source.wording.word
    units = source.settings.words
    temperature = "part_temp_f" if units.temperature_unit == "fahrenheit" else "part_temp_c"
    length = "indication_length_in" if units.length_unit == "inch" else "indication_length_mm"
    told = [
        Column("code", say("worksheet.code"), 11),
        Column("line_of", "line_of", 8, is_hidden=True),
        Column("what", say("priority.fitting_type"), 24),
        Column("where", say("book.where"), 27),
        Column("reach", say("book.access"), 11),
        Column("do", say("priority.action"), 24),
        Column("why", say("book.why"), 34),
    ]
    chosen = {
        "result": (20, [word("result", r) for r in RESULTS]),
        "inspected_on": (12, []),
        "method": (18, [word("method", m) for m in METHODS]),
        "scope": (11, [word("scope", s) for s in SCOPES]),
        "surface_cleaned": (10, [say("yes_no.yes"), say("yes_no.no")]),
        temperature: (8, []),
        "penetrant_dwell_min": (10, []),
        "developer_dwell_min": (10, []),
        "coverage_percent": (9, []),
        "indication_form": (11, [say("form.linear"), say("form.rounded")]),
        length: (11, []),
        "action": (12, [say(f"done.did_{a}") for a in ACTIONS_TAKEN]),
        "replaced_by": (26, []),
        "inspector": (16, []),
        "note": (30, []),
    }
    return told + [
        Column(name, say(f"book.{name}"), width, tuple(words), is_filled=True)
        for name, (width, words) in chosen.items()
    ]


def worksheet_book(source: Source, boat: Boat) -> bytes:
    """Return the workbook of one boat; equal content gives equal bytes."""
    columns = columns_of(source)
    with opened_book(source) as book:
        sheet = book.sheet(source.say("book.sheet"))
        _headings(sheet, columns)
        _head(sheet, source, boat)
        first = HEADINGS + 2
        _line(sheet, first, columns, {"code": EVERY_LINE, "what": source.say("book.every_line")})
        for place, line in enumerate(boat.lines, start=first + 1):
            _line(sheet, place, columns, _told(source, line))
        _rules(sheet, columns, source, first=first, last=first + len(boat.lines))
        sheet.printed(
            columns_count=len(columns), first_row=HEADINGS, last_row=first + len(boat.lines), frozen=(first, 3)
        )
        sheet.locked()
    return book.content()


def _head(sheet: Sheet, source: Source, boat: Boat) -> None:
    sheet.text(0, 0, boat.name, "title")
    facts = ", ".join([boat.boat_id, *(str(boat.facts[k]) for k in ("design", "home_port") if boat.facts[k])])
    records = source.say("records_to", day=source.as_of, until=source.until)
    sheet.sentences(1, f"{facts}. {slot_of(source, boat)}. {records}")
    sheet.sentences(2, f"{source.invented} {source.caution}".strip(), "bold")
    sheet.sentences(3, source.say("worksheet.minima", low=LOWEST_C, high=HIGHEST_C))
    sheet.sentences(4, source.say("book.how", file=f"{boat.file}.xlsx"))


def _headings(sheet: Sheet, columns: list[Column]) -> None:
    for place, column in enumerate(columns):
        sheet.column(place, column.width, is_hidden=column.is_hidden)
        sheet.text(HEADINGS, place, column.heading, "heading")
        sheet.text(HEADINGS + 1, place, column.name, "name")


def _line(sheet: Sheet, row: int, columns: list[Column], told: dict[str, str]) -> None:
    for place, column in enumerate(columns):
        if column.is_filled:
            sheet.blank(row, place, "day" if column.name == "inspected_on" else "open")
        else:
            sheet.text(row, place, told.get(column.name, ""), "code" if column.name == "code" else "told")


def _told(source: Source, line: Row) -> dict[str, str]:
    return {
        "code": line["code"],
        "line_of": f"{source.fleet_mark}/{line['boat_id']}/{line['fitting_id']}",
        "what": f"{line['fitting_id']}  {source.typed('type', line['fitting_type'])}",
        "where": where_of(source, line),
        "reach": source.wording.word("access", line["access"]) if line["access"] else "",
        "do": to_do(source, line),
        "why": why_of(source, line),
    }


def _rules(sheet: Sheet, columns: list[Column], source: Source, *, first: int, last: int) -> None:
    """Let each filled column take only what it may hold."""
    wrong = source.say("book.wrong")
    for place, column in enumerate(columns):
        if column.choices:
            told = source.say("book.choose", words=", ".join(column.choices))
            sheet.choices(place, first, last, column.choices, title=wrong, message=told)
        elif rule := _LIMITS.get(column.name):
            sheet.limits(place, first, last, rule, title=column.heading)


_LIMITS: dict[str, dict[str, Any]] = {
    "part_temp_c": {"minimum": -60, "maximum": 150},
    "part_temp_f": {"minimum": -76, "maximum": 302},
    "penetrant_dwell_min": {"minimum": 0, "maximum": 1440},
    "developer_dwell_min": {"minimum": 0, "maximum": 1440},
    "coverage_percent": {"minimum": 0, "maximum": 100},
    "indication_length_mm": {"minimum": 0, "maximum": 10000},
    "indication_length_in": {"minimum": 0, "maximum": 390},
}
