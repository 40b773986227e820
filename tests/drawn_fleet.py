"""Small fleets drawn as text tables, put into a store the way ingest lays them out, and the lives read back."""

from __future__ import annotations

import calendar
import math
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import duckdb
import pyarrow as pa

from bobstay.lives import build_lives
from bobstay.settings import Settings
from bobstay.tables import INPUT_BY_NAME, INPUTS, InputColumn

Row = dict[str, Any]
AS_OF = date(2020, 1, 1)
_SQL = {"integer": "BIGINT", "number": "DOUBLE", "yes_no": "BOOLEAN"}


def rows_of(drawn: str) -> list[dict[str, str]]:
    """Read a table drawn with | between columns; an empty cell is left out, lines of dashes are skipped."""
    lines = [line for line in map(str.strip, drawn.strip().splitlines()) if line and not set(line) <= set("-+| ")]
    heads, *body = [[cell.strip() for cell in line.split("|")] for line in lines]
    return [{k: v for k, v in zip(heads, cells, strict=True) if v} for cells in body]


def bounds(written: str) -> tuple[date | None, date | None]:
    """Return the earliest and latest day of 2009, 2009-05, 2009-05-01, A/B, ../B, A/.. or XXXX."""
    if written == "XXXX":
        return None, None
    if "/" in written:
        left, right = written.split("/")
        return (None if left == ".." else bounds(left)[0]), (None if right == ".." else bounds(right)[1])
    year, month, day = [*map(int, written.split("-")), None, None][:3]
    last = calendar.monthrange(year, month or 12)[1]
    return date(year, month or 1, day or 1), date(year, month or 12, day or last)


def filled(con: duckdb.DuckDBPyConnection, **tables: str | Sequence[Mapping[str, str]]) -> None:
    """Make all seven input tables and files in the store; line 2 is the first row of each table."""
    con.execute("CREATE TABLE files AS SELECT x AS file_id, concat('file', x, '.csv') AS file FROM range(1, 9) t(x)")
    con.execute('CREATE TABLE words_merged ("column" VARCHAR, word VARCHAR, shown_as VARCHAR)')
    for number, spec in enumerate(INPUTS, start=1):
        _create(con, spec.name)
        drawn = tables.get(spec.name, ())
        rows = rows_of(drawn) if isinstance(drawn, str) and drawn else drawn
        _insert(
            con, spec.name, [{**_cells(spec.name, row), "file_id": number, "line": n} for n, row in enumerate(rows, 2)]
        )


def built(*, as_of: date = AS_OF, settings: Settings | None = None, **tables: str) -> tuple[list[Row], list[Row]]:
    """Build the drawn fleet and return its lives, and its looks in the order of their lines."""
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, **tables)
        build_lives(con, as_of=as_of, settings=settings or Settings())
        return table(con, "lives", "boat_id, fitting_id, part_number"), table(con, "life_looks", "line")


def lives_of(*, as_of: date = AS_OF, settings: Settings | None = None, **tables: str) -> list[Row]:
    """Build the drawn fleet's lives and return them in their promised order."""
    return built(as_of=as_of, settings=settings, **tables)[0]


def table(con: duckdb.DuckDBPyConnection, name: str, order: str) -> list[Row]:
    """Read a table of the store as a list of rows."""
    found = con.execute(f"SELECT * FROM {name} ORDER BY {order}")
    heads = [d[0] for d in found.description or ()]
    return [dict(zip(heads, row, strict=True)) for row in found.fetchall()]


def _create(con: duckdb.DuckDBPyConnection, name: str) -> None:
    spec = INPUT_BY_NAME[name]
    columns = [part for c in spec.columns for part in _layout(c)]
    columns += ["file_id BIGINT", "line BIGINT", "extra VARCHAR"]
    columns += ["cells_unread VARCHAR"] if name == "inspections" else []
    con.execute(f'CREATE TABLE "{name}" ({", ".join(columns)})')


def _layout(column: InputColumn) -> list[str]:
    if column.kind == "date":
        return [f'"{column.name}" VARCHAR', f'"{column.name}_earliest" DATE', f'"{column.name}_latest" DATE']
    return [f'"{column.name}" {_SQL.get(column.kind, "VARCHAR")}']


def _cells(name: str, row: Mapping[str, str]) -> Row:
    kinds = {c.name: c.kind for c in INPUT_BY_NAME[name].columns} | {"cells_unread": "text"}
    cells: Row = {}
    for key, value in row.items():
        cells[key] = value == "yes" if kinds[key] == "yes_no" else value
        if kinds[key] == "date":
            cells[f"{key}_earliest"], cells[f"{key}_latest"] = bounds(value)
    return cells


def _insert(con: duckdb.DuckDBPyConnection, name: str, rows: list[Row]) -> None:
    heads = sorted({head for row in rows for head in row})
    if rows:
        con.register("drawn", pa.Table.from_pylist([{head: row.get(head) for head in heads} for row in rows]))
        con.execute(f'INSERT INTO "{name}" BY NAME SELECT * FROM drawn')
        con.unregister("drawn")


def looks_of(*, as_of: date = AS_OF, **tables: str) -> list[Row]:
    """Build the drawn fleet's lives and return its looks in the order of their lines."""
    return built(as_of=as_of, **tables)[1]


def must_follow(rows: Sequence[Row], drawn: str) -> None:
    """Compare rows with a drawn table: the same rows in the same order, column by column as drawn (- for empty).

    Columns entry, lower, upper and clear stand for the ages of lives, drawn as the days on which they fall.
    """
    expected = rows_of(drawn)
    heads = list(expected[0]) if expected else []
    seen = [{head: _written(row, head) for head in heads} for row in rows]
    assert seen == expected


_AGES = {
    "entry": "entry_years",
    "lower": "lower_years",
    "upper": "upper_years",
    "clear": "last_clear_years",
    "ranking_clear": "ranking_clear_years",
}


def _written(row: Row, head: str) -> str:
    value = row[_AGES.get(head, head)]
    if value is None:
        return "-"
    if head in _AGES:
        return "never" if math.isinf(value) else str(row["installed_on"] + timedelta(days=round(value * 365.25)))
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)
