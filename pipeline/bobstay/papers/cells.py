"""Workbooks in which text is only text: every cell is written as what it is, nothing is a formula or a link."""

from __future__ import annotations

import io
import textwrap
from collections import defaultdict
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from bobstay.papers.source import Source

_LONGEST = 32767  # characters a cell may hold
_LINE_POINTS = 13.5  # height of a line of 10 points
_NARROW = 8  # characters of a column whose width nobody set
_PAGES_WIDE = 2  # on one page the letters are too small to read
_HIGHEST_LINES = 30  # a row of 409 points is the highest there may be
_HEAD_WIDTH = 150  # characters that the sentences above a list may take before they go on in the next line
_EDGE = {"border": 1, "border_color": "#B4B4B4", "valign": "top"}
_RIGHT = {"align": "right", "indent": 1}  # clear of the text in the next column
_LOOKS: dict[str, dict[str, Any]] = {
    "plain": {},
    "bold": {"bold": True, "text_wrap": True, "valign": "top"},
    "words": {"text_wrap": True, "valign": "top"},
    "title": {"bold": True, "font_size": 16},
    "heading": {"bold": True, "text_wrap": True, "bg_color": "#E4E4E4", **_EDGE, "valign": "bottom"},
    "name": {"font_size": 8, "font_color": "#595959", "bg_color": "#E4E4E4", **_EDGE},
    "told": {"text_wrap": True, "bg_color": "#F4F4F4", **_EDGE},
    "code": {"bold": True, "bg_color": "#F4F4F4", **_EDGE},
    "open": {"text_wrap": True, "locked": False, **_EDGE},
    "day": {"num_format": "yyyy-mm-dd", "locked": False, **_EDGE},
    "date": {"num_format": "yyyy-mm-dd", "align": "left", **_EDGE},
    "share": {"num_format": "0 %", **_RIGHT, **_EDGE},
    "number": {"num_format": "0.0", **_RIGHT, **_EDGE},
    "integer": {"num_format": "0", **_RIGHT, **_EDGE},
    "line": {**_EDGE},
    "text": {"text_wrap": True, **_EDGE},
}


class Book:
    """A workbook in memory."""

    def __init__(self, book: Workbook, bytes_made: io.BytesIO, caution: str) -> None:
        self._book, self._bytes, self._caution = book, bytes_made, caution
        self._looks: dict[str, Format] = {
            name: book.add_format({"font_name": "Arial", "font_size": 10} | look) for name, look in _LOOKS.items()
        }

    def sheet(self, name: str) -> Sheet:
        """Add a sheet; its name is one of our own words."""
        return Sheet(self._book.add_worksheet(name[:31]), self._looks, self._caution)

    def content(self) -> bytes:
        """Return the bytes of the closed workbook."""
        return self._bytes.getvalue()


class Sheet:
    """One sheet; rows and columns are counted from 0."""

    def __init__(self, sheet: Worksheet, looks: dict[str, Format], caution: str) -> None:
        self._sheet, self._looks, self._caution = sheet, looks, caution
        self._widths: dict[int, float] = {}
        self._lines: defaultdict[int, int] = defaultdict(lambda: 1)

    def text(self, row: int, place: int, text: str, look: str = "plain") -> None:
        """Write text, whatever it begins with; an empty one leaves the cell blank."""
        if text:
            self._sheet.write_string(row, place, text[:_LONGEST], self._looks[look])
            if _LOOKS[look].get("text_wrap"):
                self._makes_room(row, text, self._widths.get(place, _NARROW))
        else:
            self.blank(row, place, look)

    def sentences(self, row: int, text: str, look: str = "words") -> None:
        """Write sentences across the first columns, in as many lines as they need; the columns are set before."""
        last, width = 0, self._widths[0]
        while width < _HEAD_WIDTH and last + 1 in self._widths:
            last, width = last + 1, width + self._widths[last + 1]
        self._sheet.merge_range(row, 0, row, last, "", self._looks[look])
        self._sheet.write_string(row, 0, text[:_LONGEST], self._looks[look])
        self._makes_room(row, text, width)

    def _makes_room(self, row: int, text: str, width: float) -> None:
        """Keep the row high enough: programs that open the book do not all measure the text themselves."""
        if width <= 0:  # hidden
            return
        needed = sum(len(textwrap.wrap(part, int(width))) or 1 for part in text.splitlines())
        self._lines[row] = max(self._lines[row], min(needed, _HIGHEST_LINES))

    def blank(self, row: int, place: int, look: str) -> None:
        """Leave a cell empty, in its look."""
        self._sheet.write_blank(row, place, None, self._looks[look])

    def number(self, row: int, place: int, value: float | None, look: str) -> None:
        """Write a number; a missing one leaves the cell empty."""
        if value is None:
            self.blank(row, place, look)
        else:
            self._sheet.write_number(row, place, value, self._looks[look])

    def day(self, row: int, place: int, value: date | None) -> None:
        """Write a day."""
        if value is None:
            self.blank(row, place, "date")
        else:
            self._sheet.write_datetime(row, place, datetime(value.year, value.month, value.day), self._looks["date"])

    def column(self, place: int, width: float, *, is_hidden: bool = False) -> None:
        """Set the width of a column."""
        self._widths[place] = 0 if is_hidden else width
        self._sheet.set_column(place, place, width, None, {"hidden": is_hidden})

    def choices(self, place: int, first: int, last: int, words: Sequence[str], *, title: str, message: str) -> None:
        """Let the cells of a column take one of `words`."""
        rule = {"validate": "list", "source": list(words), "error_title": title[:32], "error_message": message[:255]}
        self._sheet.data_validation(first, place, last, place, rule)

    def limits(self, place: int, first: int, last: int, limits: dict[str, float], *, title: str) -> None:
        """Let the cells of a column take numbers within limits."""
        told, how = f"{limits['minimum']:g} – {limits['maximum']:g}", {"validate": "decimal", "criteria": "between"}
        rule = {**how, **limits, "error_title": title[:32], "error_message": told}
        self._sheet.data_validation(first, place, last, place, rule)

    def printed(
        self, *, columns_count: int, first_row: int, last_row: int, frozen: tuple[int, int], unprinted: int = 0
    ) -> None:
        """Set heights, filters, frozen panes, titles on each page and the width of the print.

        The last `unprinted` columns stay on the screen.
        """
        sheet = self._sheet
        for row, lines in self._lines.items():
            if lines > 1:
                sheet.set_row(row, _LINE_POINTS * lines)
        sheet.autofilter(first_row + 1, 0, max(last_row, first_row + 1), columns_count - 1)
        sheet.freeze_panes(*frozen)
        sheet.set_landscape()
        sheet.set_paper(9)  # A4
        sheet.fit_to_pages(_PAGES_WIDE, 0)
        sheet.repeat_rows(first_row, first_row + 1)
        sheet.repeat_columns(0, frozen[1] - 1)
        sheet.print_area(0, 0, last_row, columns_count - 1 - unprinted)
        sheet.set_margins(left=0.4, right=0.4, top=0.4, bottom=0.8)
        sheet.set_footer(f"&L&7{_footed(self._caution)}&R&8&P / &N")

    def locked(self) -> None:
        """Lock all cells but those to be filled, without a password: against slips, not against people."""
        self._sheet.protect("", {"sort": True, "autofilter": True, "format_columns": True, "format_rows": True})


def _footed(text: str) -> str:
    """Cut the caution to what a footer may hold, at the end of a sentence."""
    room = 215
    if len(text) <= room:
        return text
    return text[: text.rfind(".", 0, room) + 1]


@contextmanager
def opened_book(source: Source) -> Iterator[Book]:
    """Yield an empty workbook that is closed at the end; it carries the as-of date as the day it was made."""
    import xlsxwriter

    made = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(made, options) as book:
        made_on = datetime(source.as_of.year, source.as_of.month, source.as_of.day)
        book.set_properties({"author": "Bobstay", "created": made_on, "comments": source.caution})
        yield Book(book, made, f"{source.invented} {source.caution}".strip())
