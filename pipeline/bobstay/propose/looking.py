"""Looks at a stranger's sheet: where its header stands, what its columns hold, which rows are no records."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from bobstay.ingest.mapped import headings
from bobstay.propose.known import known_columns

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.ingest.headers import Row
    from bobstay.ingest.sheets import Sheet

SAMPLES = 5
_SEARCHED = 40  # rows within which a header must begin
_LOOKED_AT = 20_000  # rows of which words are counted
# A row that adds up, in four languages (common usage, from memory).
_TOTAL = re.compile(r"(grand total|total|totals|sum|summe|gesamt|somme|totaux|suma|totales)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet: its heading, how often each cell stands in it, and how many are empty."""

    heading: str
    counts: Counter[str]
    empty: int

    @property
    def samples(self) -> tuple[str, ...]:
        """The first different cells."""
        return tuple(list(self.counts)[:SAMPLES])


@dataclass(frozen=True, slots=True)
class Seen:
    """One sheet: the lines its header stands on, its columns, the words with which rows that add up begin."""

    name: str
    header: int
    header_rows: int
    columns: tuple[Column, ...]
    totals: tuple[str, ...]
    lone: tuple[str, ...]  # rows of which only the first cell is filled in
    other_headers: tuple[int, ...]  # lines above that look like headers as well


def seen_in(sheet: Sheet) -> Seen | None:
    """Return what the sheet holds, None where no row of it may be a header."""
    rows = [row for row in sheet.head if row[0] <= _SEARCHED]
    if not rows:
        return None
    line, cells = max(rows, key=lambda row: (_score(row[1]), -row[0]))
    if _score(cells) < 2:
        return None
    deep = _depth(rows, line)
    names = headings([found for number, found in rows if line <= number < line + deep])
    counts = [Counter[str]() for _ in names]
    empty = [0] * len(names)
    totals: dict[str, None] = {}
    lone: dict[str, None] = {}
    for number, record in enumerate(sheet.rows(len(names), line + deep - 1)):
        if number == _LOOKED_AT:
            break
        first = next((c.strip() for c in record.cells if c and c.strip()), "")
        if found := _TOTAL.match(first):
            totals[found[0]] = None
        elif record.fault is None and sum(bool(c and c.strip()) for c in record.cells) == 1 and len(names) > 2:
            lone[first] = None
        elif record.fault is None and first:
            _count(record.cells, counts, empty)
    others = tuple(number for number, found in rows if number < line and sum(map(_is_known, found)) > 1)
    columns = tuple(map(Column, names, counts, empty))
    return Seen(sheet.name, line, deep, columns, tuple(totals), tuple(lone)[:SAMPLES], others)


def _count(cells: Sequence[str | None], counts: list[Counter[str]], empty: list[int]) -> None:
    for place, cell in enumerate(cells):
        if cell and cell.strip():
            counts[place][" ".join(cell.split())] += 1
        else:
            empty[place] += 1


@cache
def _is_known(cell: str) -> bool:
    return bool(known_columns(cell))


def _score(cells: Sequence[str]) -> int:
    """Return how much a row looks like a header: known headings weigh most, figures count against it."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    figures = sum(any(map(str.isdigit, cell)) for cell in filled)
    return 4 * sum(map(_is_known, filled)) + len(set(filled)) - 2 * figures if len(filled) > 1 else 0


def _depth(rows: Sequence[Row], line: int) -> int:
    """Return 2 where the row below fills gaps of the header and holds no figures, else 1."""
    by_line = dict(rows)
    above, below = by_line[line], by_line.get(line + 1, ())
    width = max(len(above), len(below))
    gaps = [p for p in range(width) if p >= len(above) or not above[p].strip()]
    fills = [p for p in gaps if p < len(below) and below[p].strip()]
    has_figures = any(any(map(str.isdigit, cell)) for cell in below)
    repeats = sum(bool(p < len(below) and below[p].strip()) for p in range(width)) < width
    return 2 if fills and not has_figures and repeats else 1
