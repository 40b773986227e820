"""Writes what was read: good rows to their table, the others to `set_aside`, single cells to `cells_unread`."""

from __future__ import annotations

import json
from itertools import islice
from typing import TYPE_CHECKING

from bobstay.ingest.checks import unread_cells
from bobstay.ingest.staging import named, one_row, sql_type
from bobstay.store import SQL_TYPES, handed_over
from bobstay.tables import CELLS_UNREAD, FILES, INPUTS, INSPECTIONS, SET_ASIDE, SUPERSEDED, WORDS_MERGED

if TYPE_CHECKING:
    import duckdb
    import pyarrow as pa

    from bobstay.ingest.record import Header, Part, Record
    from bobstay.tables import InputColumn, InputTable, OutputTable

BATCH = 20_000


def make_tables(con: duckdb.DuckDBPyConnection) -> None:
    """Make the tables that ingest writes, where the store does not have them yet."""
    for table in INPUTS:
        con.execute(f"CREATE TABLE IF NOT EXISTS {named(table.name)} ({_input_layout(table)})")
    for output in (FILES, SET_ASIDE, CELLS_UNREAD, SUPERSEDED, WORDS_MERGED):
        con.execute(f"CREATE TABLE IF NOT EXISTS {named(output.name)} ({_output_layout(output)})")


def _input_layout(table: InputTable) -> str:
    columns = []
    for column in table.columns:
        columns.append(f"{named(column.name)} {sql_type(column)}")
        if column.kind == "date":
            columns += [f"{named(f'{column.name}_{end}')} DATE" for end in ("earliest", "latest")]
    unread = ["cells_unread VARCHAR"] if table is INSPECTIONS else []
    return ", ".join([*columns, *unread, "extra VARCHAR", "file_id BIGINT", "line BIGINT"])


def _output_layout(table: OutputTable) -> str:
    return ", ".join(f"{named(c.name)} {SQL_TYPES[c.dtype]}{'' if c.nullable else ' NOT NULL'}" for c in table.columns)


def store_rows(con: duckdb.DuckDBPyConnection, table: InputTable, file_id: int, *, matched: bool) -> int:
    """Append the rows without a fault that are new to their table; return how many they are.

    `matched`: rows of `known` are held already, those of `merged` are put in the place of others.
    """
    elsewhere = " ANTI JOIN known USING (line) ANTI JOIN merged USING (line)" if matched else ""
    (count,) = one_row(
        con,
        f"INSERT INTO {named(table.name)} BY NAME SELECT *, CAST($file_id AS BIGINT) AS file_id "
        f"FROM resolved ANTI JOIN faults USING (line){elsewhere}",
        {"file_id": file_id},
    )
    return int(count)


def store_set_aside(con: duckdb.DuckDBPyConnection, part: Part) -> int:
    """Append each row with a fault to `set_aside`, as it came; return how many they are."""
    lines = con.execute("SELECT DISTINCT line FROM faults ORDER BY line").fetchnumpy()["line"]
    if not len(lines):
        return 0
    con.execute(
        "CREATE OR REPLACE TEMP TABLE first_faults AS "
        "SELECT DISTINCT ON (line) line, col, reason, hint FROM faults ORDER BY line, rank, col"
    )
    rows = part.records(lines)
    while batch := list(islice(rows, BATCH)):
        _append_set_aside(con, part, batch)
    return len(lines)


def _append_set_aside(con: duckdb.DuckDBPyConnection, part: Part, rows: list[Record]) -> None:
    with handed_over(con, "batch", _arrow(rows, part.header)):
        con.execute(
            'INSERT INTO set_aside BY NAME SELECT $file AS file, f.line, $table AS "table", f.col AS "column", '
            "b.cells[p.place + 1] AS value, f.reason, f.hint, b.row_json "
            "FROM batch AS b JOIN first_faults AS f USING (line) LEFT JOIN places AS p USING (col) ORDER BY f.line",
            {"file": part.shown, "table": part.header.table.name},
        )


def _arrow(rows: list[Record], header: Header) -> pa.Table:
    import pyarrow as pa

    return pa.table(
        {
            "line": pa.array([row.line for row in rows], pa.int64()),
            "cells": pa.array([row.cells for row in rows], pa.list_(pa.string())),
            "row_json": pa.array([_as_json(row, header) for row in rows], pa.string()),
        }
    )


def _as_json(row: Record, header: Header) -> str:
    """Return the row as it came: an object by column name, or a list where the cells do not match the columns."""
    if row.fault is not None:
        return json.dumps(row.cells, ensure_ascii=False)
    return json.dumps(dict(zip(header.names, row.cells, strict=True)), ensure_ascii=False)


def store_cells_unread(con: duckdb.DuckDBPyConnection, part: Part, odd: list[InputColumn]) -> int:
    """Append the cells that could not be read of rows that are used; return how many they are."""
    cells = unread_cells(odd)
    if not cells:
        return 0
    (count,) = one_row(
        con,
        'INSERT INTO cells_unread BY NAME SELECT $file AS file, c.line, $table AS "table", c.col AS "column", '
        f"c.value, c.reason, coalesce(c.hint, '-') AS hint FROM ({cells}) AS c "
        "WHERE c.line NOT IN (SELECT line FROM faults) AND c.line NOT IN (SELECT line FROM known) "
        "ORDER BY c.line, c.col",
        {"file": part.shown, "table": part.header.table.name},
    )
    return int(count)
