"""Guesses what a stranger's sheet holds: the table, which column is which, and whether fittings stand as columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bobstay.propose.days import looks_like_days
from bobstay.propose.known import known_columns, likely_columns
from bobstay.tables import INPUTS, INSPECTIONS
from bobstay.vocabulary import load

if TYPE_CHECKING:
    from bobstay.mapping import Shape
    from bobstay.propose.looking import Column, Seen
    from bobstay.tables import InputColumn, InputTable


@dataclass(frozen=True, slots=True)
class Guess:
    """What one sheet is taken for: `columns` are sure, `asked` may be, `wide` are columns that hold results."""

    sheet: Seen
    table: InputTable
    shape: Shape
    columns: tuple[tuple[Column, InputColumn], ...]
    asked: tuple[tuple[Column, tuple[str, ...]], ...]
    wide: tuple[Column, ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Required columns that nothing fills yet."""
        have = {ours.name for _, ours in self.columns}
        have |= {"fitting_id", "result"} if self.shape == "wide" else {"result"} if self.shape == "boat" else set()
        return tuple(name for name in self.table.required if name not in have)

    @property
    def day_columns(self) -> tuple[Column, ...]:
        """The sender's columns that hold days."""
        return tuple(theirs for theirs, ours in self.columns if ours.kind == "date")


def guessed(sheet: Seen) -> Guess:
    """Return the table that most headings name, with its columns; of equals the one that lacks least."""
    named = {table.name: _named(sheet, table) for table in INPUTS}
    results = tuple(column for column in sheet.columns if _holds_results(column))
    wide = tuple(c for c in results if not known_columns(c.heading))
    table = max(INPUTS, key=lambda t: _fit(t, named[t.name]))
    if len(wide) > 1 and "inspected_on" in {ours.name for _, ours in named[INSPECTIONS.name]}:
        table = INSPECTIONS
    columns = named[table.name]
    have = {ours.name for _, ours in columns}
    is_look = table is INSPECTIONS and "fitting_id" not in have
    shape: Shape = "wide" if is_look and len(wide) > 1 and "result" not in have else "boat" if is_look else "rows"
    fittings = wide if shape == "wide" else ()
    rest = [c for c in sheet.columns if c not in fittings and c not in [theirs for theirs, _ in columns] and c.counts]
    asked = tuple((c, _likely(c, table, have)) for c in rest)
    return Guess(sheet, table, shape, columns, asked, fittings)


def _named(sheet: Seen, table: InputTable) -> tuple[tuple[Column, InputColumn], ...]:
    """Return the columns whose headings surely name one of the table; the first heading of each counts."""
    by_name = {column.name: column for column in table.columns}
    taken: dict[str, tuple[Column, InputColumn]] = {}
    for theirs in sheet.columns:
        for name in known_columns(theirs.heading):
            if name in by_name and name not in taken and _may_hold(theirs, by_name[name]):
                taken[name] = (theirs, by_name[name])
                break
    return tuple(taken.values())


def _may_hold(theirs: Column, ours: InputColumn) -> bool:
    """Say whether the cells are not plainly of another kind: a column of days is no result."""
    if ours.kind in ("choice", "choices", "yes_no") and theirs.counts:
        return not looks_like_days(theirs)
    return True


def _fit(table: InputTable, columns: tuple[tuple[Column, InputColumn], ...]) -> tuple[int, int]:
    have = {ours.name for _, ours in columns}
    lacking = sum(name not in have for name in table.required)
    return 2 * len(have) - lacking if have else -len(table.required) - 1, -len(table.columns)


def _holds_results(column: Column) -> bool:
    """Say whether most cells are words said of a look, sure or to be asked."""
    total = sum(column.counts.values())
    said = sum(n for cell, n in column.counts.items() if _is_result(cell))
    return total > 0 and said * 2 > total and len(column.counts) <= max(8, total // 2)


def _is_result(cell: str) -> bool:
    words = load()
    return words.canonical("result", cell) is not None or any(p.why == "ask" for p in words.proposals("result", cell))


def _likely(column: Column, table: InputTable, have: set[str]) -> tuple[str, ...]:
    names = [*known_columns(column.heading), *likely_columns(column.heading)]
    return tuple(dict.fromkeys(n for n in names if n in table.column_names and n not in have))
