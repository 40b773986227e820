"""The priority list as a workbook: a sheet a list, numbers as numbers, days as days, units in the headings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.papers.cells import Sheet, opened_book

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.papers.source import Source
    from bobstay.report.fleet import Row

# Each column: (name in the priority table, look, width).
COLUMNS: tuple[tuple[str, str, float], ...] = (
    ("rank", "integer", 7),
    ("rank_lower", "integer", 9),
    ("rank_upper", "integer", 9),
    ("tie_group", "integer", 8),
    ("boat_id", "text", 9),
    ("boat_name", "text", 18),
    ("fitting_id", "text", 9),
    ("fitting_type", "type", 18),
    ("position", "said", 24),
    ("material", "material", 16),
    ("age_years", "number", 8),
    ("last_valid_look", "date", 12),
    ("last_method", "method", 22),
    ("clear_until", "date", 12),
    ("chance", "share", 8),
    ("chance_lower", "share", 8),
    ("chance_upper", "share", 8),
    ("consequence", "integer", 12),
    ("expected_loss", "number", 11),
    ("access", "access", 12),
    ("action", "action", 16),
    ("method", "method", 22),
    ("loss_avoided", "number", 11),
    ("reason", "said", 110),
)
_HEADINGS = 3
LISTS = ("evidence", "nobody_looked")


def priority_book(source: Source, priority: Sequence[Row]) -> bytes:
    """Return the workbook of the whole list; equal content gives equal bytes."""
    with opened_book(source) as book:
        for name in LISTS:
            sheet = book.sheet(source.say(f"priority.{name}"))
            _head(sheet, source, name)
            listed = [row for row in priority if row["list"] == name]
            for line, row in enumerate(listed, start=_HEADINGS + 2):
                for place, (column, look, _) in enumerate(COLUMNS):
                    _cell(sheet, (line, place), row[column], look, source)
            last = _HEADINGS + 1 + len(listed)
            frozen = (_HEADINGS + 2, 7)
            sheet.printed(columns_count=len(COLUMNS), unprinted=1, first_row=_HEADINGS, last_row=last, frozen=frozen)
    return book.content()


def _head(sheet: Sheet, source: Source, name: str) -> None:
    for place, (column, _, width) in enumerate(COLUMNS):
        sheet.column(place, width)
        sheet.text(_HEADINGS, place, source.say(f"priority.{column}"), "heading")
        sheet.text(_HEADINGS + 1, place, column, "name")
    sheet.text(0, 0, f"{source.say('priority.title')}: {source.say(f'priority.{name}')}", "title")
    sheet.sentences(1, source.say("records_to", day=source.as_of, until=source.until))
    sheet.sentences(2, f"{source.invented} {source.caution}".strip(), "bold")


def _cell(sheet: Sheet, at: tuple[int, int], value: Any, look: str, source: Source) -> None:
    if look == "date":
        sheet.day(*at, value)
    elif look in {"share", "number", "integer"}:
        sheet.number(*at, value, look)
    else:
        sheet.text(*at, _in_words(source, value, look), "line" if at[1] == len(COLUMNS) - 1 else "text")


def _in_words(source: Source, value: Any, look: str) -> str:
    if value is None:
        return ""
    if look in {"type", "material"}:
        return source.typed(look, value)
    if look == "said":
        return source.wording.again(value)
    return str(value) if look == "text" else source.wording.word(look, value)
