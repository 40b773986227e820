"""Sheets of files whose columns are not the tables' own: their first rows, and all rows exactly, whatever they say."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from bobstay.ingest import headers, lines, places, preflight, text, workbook
from bobstay.ingest.record import Record
from bobstay.ingest.unpacking import refuse_bomb

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

_MARKS = (*headers.DELIMITERS, "|")
SEARCHED_LINES = 200  # of them the delimiter is told


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, or a whole text file (named -); `rows(width, after)` reads the rows after a line anew."""

    name: str
    sha256: str
    encoding: str
    head: tuple[headers.Row, ...]
    rows: Callable[[int, int], Iterator[Record]]


def opened_sheets(path: Path, *, shown: str, delimiter: str | None = None) -> list[Sheet]:
    """Return the sheets of the file at `path`; raises UnusableDataError where it cannot be read."""
    ending = path.suffix.lower()
    if ending in places.BOOK_ENDINGS:
        return _book(path, shown)
    if ending in places.PARQUET_ENDINGS:
        return [_parquet(path, shown)]
    return [_text(path, delimiter)]


def _text(path: Path, delimiter: str | None) -> Sheet:
    head = text.head_lines(path, SEARCHED_LINES)
    mark = delimiter or likely_delimiter(head)
    facts = preflight.looked_at(path, mark, width=1, after=0)

    def rows(width: int, after: int) -> Iterator[Record]:
        source = lines.lines(lines.blocks(path, facts.encoding, bare_returns=facts.bare_returns))
        return map(partial(_levelled, width=width), lines.records(source, width=width, delimiter=mark, after=after))

    return Sheet("-", facts.sha256, facts.encoding, tuple(headers.rows_of(head, mark)), rows)


def likely_delimiter(head: Sequence[str]) -> str:
    """Return the delimiter that takes most lines of `head` apart into the same number of cells, two at least."""

    def score(mark: str) -> tuple[int, int]:
        widths = [len(cells) for _, cells in headers.rows_of(head, mark, len(head))]
        return max(((widths.count(w) * (w - 1), w) for w in set(widths)), default=(0, 0))

    return max(_MARKS, key=score)


def _levelled(row: Record, *, width: int) -> Record:
    """Take away empty cells beyond the last column: they say nothing."""
    if row.fault is None or len(row.cells) <= width or any(row.cells[width:]):
        return row
    return Record(row.line, row.cells[:width])


def _book(path: Path, shown: str) -> list[Sheet]:
    refuse_bomb(path, shown)
    sha256 = preflight.whole_file_sha256(path)
    return [_of_book(name, sha256, cells) for name, cells in workbook.sheets_of(path, shown)]


def _of_book(name: str, sha256: str, cells: list[list[Any]]) -> Sheet:
    head = ((n, tuple(workbook.as_text(c) or "" for c in row)) for n, row in enumerate(cells[:SEARCHED_LINES], start=1))

    def rows(width: int, after: int) -> Iterator[Record]:
        return workbook.rows_after(cells, width=width, after=after)

    return Sheet(name, sha256, "xlsx", tuple(row for row in head if any(row[1])), rows)


def _parquet(path: Path, shown: str) -> Sheet:
    from bobstay.ingest.parquet import FIRST_LINE, all_records, schema_of

    names = tuple(schema_of(path, shown)[0].names)
    first = [(FIRST_LINE - 1, names)]
    for row in all_records(path, None):
        first.append((row.line, tuple(cell or "" for cell in row.cells)))
        if len(first) == SEARCHED_LINES:
            break

    def rows(width: int, after: int) -> Iterator[Record]:
        del width
        return (row for row in all_records(path, None) if row.line > after)

    return Sheet("-", preflight.whole_file_sha256(path), "parquet", tuple(first), rows)
