"""Reads the odd cells of `lined`, each distinct one once, and offers the rows with all that could be read.

Makes the temporary tables `readings` (what each odd cell says) and `places` (where columns stand), and the view
`resolved`: the rows of the part as they would be stored.
"""

from __future__ import annotations

from dataclasses import astuple, replace
from typing import TYPE_CHECKING

from bobstay.ingest.cells import read_cell
from bobstay.ingest.staging import named, odd_columns, one_row, present, sql_type
from bobstay.sql_text import quoted
from bobstay.store import handed_over
from bobstay.tables import INSPECTIONS

if TYPE_CHECKING:
    import duckdb
    import pyarrow as pa

    from bobstay.ingest.record import Header, Reading, Rules
    from bobstay.tables import InputColumn

BATCH = 20_000
PROPOSED = 2_000  # with more different odd cells in a column nothing is proposed for them: it would take minutes


def read_odd_cells(con: duckdb.DuckDBPyConnection, header: Header, *, rules: Rules) -> list[InputColumn]:
    """Fill `readings` and `places`, make `resolved`; return the columns that have odd cells."""
    _prepare(con, header)
    odd = _with_odd_cells(con, header)
    for column in odd:
        _read(con, header, column, rules)
    con.execute(f"CREATE OR REPLACE TEMP VIEW resolved AS {_resolved(header, odd)}")
    return odd


def _prepare(con: duckdb.DuckDBPyConnection, header: Header) -> None:
    con.execute(
        "CREATE OR REPLACE TEMP TABLE readings (col VARCHAR, odd VARCHAR, value VARCHAR, earliest DATE, latest DATE, "
        "reason VARCHAR, hint VARCHAR)"
    )
    con.execute("CREATE OR REPLACE TEMP TABLE places (col VARCHAR, place BIGINT, rank BIGINT)")
    for rank, (place, column) in enumerate(present(header)):
        con.execute("INSERT INTO places VALUES ($1, $2, $3)", [column.name, place, rank])


def _with_odd_cells(con: duckdb.DuckDBPyConnection, header: Header) -> list[InputColumn]:
    columns = odd_columns(header)
    if not columns:
        return []
    counts = ", ".join(f"count({named(f'{column.name}__odd')})" for column in columns)
    found = one_row(con, f"SELECT {counts} FROM lined WHERE odds IS NOT NULL")
    return [column for column, count in zip(columns, found, strict=True) if count]


def _read(con: duckdb.DuckDBPyConnection, header: Header, column: InputColumn, rules: Rules) -> None:
    """Read the odd cells of one column."""
    odd = named(f"{column.name}__odd")
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE odd_cells AS SELECT DISTINCT {odd} AS odd FROM lined WHERE {odd} IS NOT NULL"
    )
    (total,) = one_row(con, "SELECT count(*) FROM odd_cells")
    rules = replace(rules, proposes=total <= PROPOSED)
    for start in range(0, total, BATCH):
        rows = con.execute("SELECT odd FROM odd_cells LIMIT $n OFFSET $start", {"n": BATCH, "start": start}).fetchall()
        _keep(con, column, [(text, read_cell(header.table, column, text, rules=rules)) for (text,) in rows])


def _keep(con: duckdb.DuckDBPyConnection, column: InputColumn, read: list[tuple[str, Reading]]) -> None:
    with handed_over(con, "batch", _arrow(read)):
        con.execute(f"INSERT INTO readings SELECT {quoted(column.name)}, * FROM batch")


def _arrow(read: list[tuple[str, Reading]]) -> pa.Table:
    import pyarrow as pa

    names = ("odd", "value", "earliest", "latest", "reason", "hint")
    types = (pa.string(), pa.string(), pa.date32(), pa.date32(), pa.string(), pa.string())
    rows = [(text, *astuple(reading)) for text, reading in read]
    columns = zip(*rows, strict=True)
    return pa.table({n: pa.array(c, t) for n, c, t in zip(names, columns, types, strict=True)})


def read_as(column: InputColumn) -> str:
    """Return the alias of the readings of one column."""
    return named(f"r_{column.name}")


def joins(odd: list[InputColumn]) -> str:
    """Return the JOIN clauses that bring the readings of the `odd` columns to `lined AS s`."""
    return " ".join(
        f"LEFT JOIN readings AS {read_as(c)} ON {read_as(c)}.col = {quoted(c.name)} "
        f"AND {read_as(c)}.odd = s.{named(f'{c.name}__odd')}"
        for c in odd
    )


def _resolved(header: Header, odd: list[InputColumn]) -> str:
    """Return the SELECT of all rows; those without an odd cell, nearly all, are spared the joins."""
    usual = f"{_offered(header, [])} FROM usual AS s"
    return (
        f"{usual} UNION ALL {_offered(header, odd)} FROM lined AS s {joins(odd)} WHERE odds IS NOT NULL"
        if odd
        else usual
    )


def _offered(header: Header, odd: list[InputColumn]) -> str:
    have = {column.name for _, column in present(header)}
    columns = [piece for c in header.table.columns for piece in _column(c, c.name in have, c in odd)]
    if header.table is INSPECTIONS:
        columns.append(f"{_unread_names(odd)} AS cells_unread")
    return f"SELECT {', '.join(columns)}, s.extra, s.line"


def _column(column: InputColumn, is_there: bool, is_odd: bool) -> list[str]:
    name = named(column.name)
    if column.kind == "date":
        bounds = [(named(f"{column.name}_{end}"), end) for end in ("earliest", "latest")]
        if not is_there:
            return [f"CAST(NULL AS VARCHAR) AS {name}", *(f"CAST(NULL AS DATE) AS {bound}" for bound, _ in bounds)]
        read = [f"coalesce(s.{b}, {read_as(column)}.{end})" if is_odd else f"s.{b}" for b, end in bounds]
        return [f"s.{name} AS {name}", *(f"{sql} AS {b}" for sql, (b, _) in zip(read, bounds, strict=True))]
    if not is_there:
        return [f"CAST(NULL AS {sql_type(column)}) AS {name}"]
    if is_odd:
        return [f"coalesce(s.{name}, CAST({read_as(column)}.value AS {sql_type(column)})) AS {name}"]
    return [f"s.{name} AS {name}"]


def _unread_names(odd: list[InputColumn]) -> str:
    """Return SQL for the ;-joined names of optional cells that could not be read, NULL where all could."""
    cases = [f"CASE WHEN {read_as(c)}.reason IS NOT NULL THEN {quoted(c.name)} END" for c in odd if spares_row(c)]
    return f"nullif(concat_ws(';', {', '.join(cases)}), '')" if cases else "CAST(NULL AS VARCHAR)"


def spares_row(column: InputColumn) -> bool:
    """Say whether an unreadable cell leaves its row in use: a missing day would change what the row says."""
    return not column.required and column.kind != "date"
