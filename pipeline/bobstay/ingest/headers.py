"""Finds the header row, and the table that its columns say; refuses, with all that is missing, where they say none."""

from __future__ import annotations

import csv
import re
from typing import TYPE_CHECKING

from bobstay.errors import UnusableDataError
from bobstay.ingest.record import Header
from bobstay.tables import ANSWERS, INPUT_BY_NAME, INPUTS, PRICES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from bobstay.tables import InputTable

SEARCHED_LINES = 30
DELIMITERS = (",", ";", "\t")
_CANONICAL = frozenset(name for table in (*INPUTS, ANSWERS) for name in table.column_names)
_ALSO_WORDS = _CANONICAL.intersection(word for table in INPUTS for column in table.columns for word in column.choices)

Row = tuple[int, tuple[str, ...]]


def plain_name(name: str) -> str:
    """Return a column name as it is compared: without regard to case, spaces and hyphens."""
    return "_".join(re.split(r"[\s_-]+", name.strip().strip("\ufeff").casefold()))


def best_delimiter(head: Sequence[str]) -> str:
    """Return the delimiter under which some line of `head` holds the most canonical names (a comma if none does)."""

    def score(delimiter: str) -> int:
        return max((known_count(cells) for _, cells in rows_of(head, delimiter)), default=0)

    return max(DELIMITERS, key=score)


def rows_of(head: Sequence[str], delimiter: str, count: int = SEARCHED_LINES) -> list[Row]:
    """Return the first lines with their numbers, each taken apart as leniently as can be."""
    rows = []
    for number, line in enumerate(head[:count], start=1):
        try:
            cells = tuple(next(csv.reader([line], delimiter=delimiter), []))
        except csv.Error:
            continue
        if any(cell.strip() for cell in cells):
            rows.append((number, cells))
    return rows


def known_count(cells: Iterable[str]) -> int:
    """Return how many canonical column names stand in `cells`; one that may be a cell of a row as well is none."""
    names = _CANONICAL.intersection(map(plain_name, cells))
    return 0 if len(names) == 1 and names <= _ALSO_WORDS else len(names)


def recognised(rows: Sequence[Row], *, shown: str, table: str | None) -> Header:
    """Return the header among the first `rows`, and its table: `table`, or the one its columns say.

    Raises UnusableDataError where there is nothing, where a name stands twice, or where no table fits.
    """
    if not rows:
        raise nothing_in(shown)
    line, cells = max(rows, key=lambda row: (known_count(row[1]), -row[0]))
    names = _named(cells)
    plain = [plain_name(name) for name in names]
    _refuse_repeats(names, plain, f"{shown}, line {line}")
    if table is None and _are_answers(plain):
        return Header(line, names, tuple(n if n in ANSWERS.column_names else None for n in plain), ANSWERS)
    found = _given(table, plain, shown, line) if table else _by_columns(plain, shown, line)
    columns = tuple(name if name in found.column_names else None for name in plain)
    return Header(line, names, columns, found)


def _are_answers(plain: Sequence[str]) -> bool:
    """Say whether the names are those of a worksheet that comes back: a code and a result, and no boat."""
    return {"code", "result"} <= set(plain) and "boat_id" not in plain


def nothing_in(shown: str) -> UnusableDataError:
    """Return the error for a file without a single row."""
    return UnusableDataError(
        "there is nothing in it", where=shown, remedy="give a file with a header row and at least one row under it"
    )


def _named(cells: Sequence[str]) -> tuple[str, ...]:
    """Give a name to columns that have none, so that their cells are kept."""
    return tuple(cell.strip().strip("\ufeff") or f"column_{place}" for place, cell in enumerate(cells, start=1))


def _refuse_repeats(names: Sequence[str], plain: Sequence[str], where: str) -> None:
    twice = [name for place, name in enumerate(names) if plain[place] in plain[:place]]
    if twice:
        raise UnusableDataError(
            f"column names stand more than once: {', '.join(twice)}",
            where=where,
            remedy="rename or take out one of each (case, spaces and hyphens make no difference)",
        )


def lacking(table: InputTable, plain: Iterable[str]) -> tuple[str, ...]:
    """Return the columns that `table` cannot do without and that `plain` names lack."""
    have = set(plain)
    missing = tuple(name for name in table.required if name not in have)
    if table is PRICES:
        says_what = "access" in have or {"fitting_type", "action"} <= have
        missing += () if says_what else ("access, or fitting_type and action",)
        missing += () if {"cost", "hours"} & have else ("cost or hours",)
    return missing


def _given(name: str, plain: Sequence[str], shown: str, line: int) -> InputTable:
    table = INPUT_BY_NAME[name]
    missing = lacking(table, plain)
    if missing:
        raise _unfit(f"table {name} needs columns that are not there: {', '.join(missing)}", plain, shown, line)
    return table


def _by_columns(plain: Sequence[str], shown: str, line: int) -> InputTable:
    ranked = sorted(INPUTS, key=lambda t: (-_overlap(t, plain), len(lacking(t, plain))))
    nearest = ranked[0]
    best = [t for t in ranked if _overlap(t, plain) == _overlap(nearest, plain)]
    complete = [t for t in best if not lacking(t, plain)]
    if _overlap(nearest, plain) == 0:
        raise _unfit("no column has a name that is known", plain, shown, line)
    if len(complete) > 1:
        tables = " or ".join(t.name for t in complete)
        raise _unfit(f"the columns fit more than one table: {tables}", plain, shown, line)
    if not complete:
        missing = ", ".join(lacking(nearest, plain))
        what = f"the columns are nearest to table {nearest.name}, which also needs: {missing}"
        raise _unfit(what, plain, shown, line)
    return complete[0]


def _overlap(table: InputTable, plain: Sequence[str]) -> int:
    return len(set(table.column_names).intersection(plain))


def _unfit(what: str, plain: Sequence[str], shown: str, line: int) -> UnusableDataError:
    return UnusableDataError(
        what,
        where=f"{shown}, line {line}, columns: {', '.join(plain)[:500]}",
        remedy="name the columns as the guide does, or say which table it is with --table NAME",
    )
