"""Finds rows that stand twice in one file: there nothing says which of the two is meant."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.ingest.checks import every_cell
from bobstay.ingest.staging import named

if TYPE_CHECKING:
    import duckdb
    import numpy.typing as npt

    from bobstay.tables import InputTable

_REPEATED = 200
_SORTED_AT_ONCE = 32_000_000  # rows whose marks are held at a time, 8 bytes each


@dataclass(frozen=True, slots=True)
class _Sameness:
    """Two rows of `table` that meet `condition` are the same when they agree in the columns `by`."""

    table: InputTable
    by: tuple[str, ...]
    condition: str
    key: tuple[str, ...] = ()

    @property
    def marked(self) -> str:
        """SQL for the rows of the part that meet the condition, each with a mark that equal rows share.

        Marks are compared within one load only: hash() may differ from version to version.
        """
        return f"SELECT hash({', '.join(self.by)}) AS mark, line FROM resolved WHERE {self.condition}"


def find_repeats(con: duckdb.DuckDBPyConnection, table: InputTable, *, file: str, rows: int) -> None:
    """Add to `faults` those of the `rows` rows whose key, or where they have none all of whose cells, stand earlier."""
    for sameness in _samenesses(table):
        _find(con, sameness, file=file, rows=rows)


def _samenesses(table: InputTable) -> list[_Sameness]:
    if not table.key:
        return [_Sameness(table, every_cell(table), "true")]
    kinds = {c.name: c.kind for c in table.columns}
    by = tuple(named(f"{name}_earliest" if kinds[name] == "date" else name) for name in table.key)
    has_key = " AND ".join(f"{name} IS NOT NULL" for name in by)
    return [_Sameness(table, by, has_key, table.key), _Sameness(table, every_cell(table), f"NOT ({has_key})")]


def _find(con: duckdb.DuckDBPyConnection, sameness: _Sameness, *, file: str, rows: int) -> None:
    if not _find_suspects(con, sameness, rows):
        return
    key = " and ".join(sameness.key)
    column = sameness.key[0] if sameness.key else None
    con.execute(
        f"INSERT INTO faults {_repeats(sameness)}",
        {"file": file, "reason": f"the same {key} stands earlier, with other cells", "col": column},
    )


def _find_suspects(con: duckdb.DuckDBPyConnection, sameness: _Sameness, rows: int) -> bool:
    """Fill `suspects` with the lines that share their mark with another; say whether there is any.

    Equal rows have equal marks, so no other row is equal to another. Marks are sorted as numbers, in turns that bound
    the memory: a third of the time of grouping them.
    """
    import pyarrow as pa

    turns = rows // _SORTED_AT_ONCE + 1
    shared = np.concatenate([_shared(con, f"{sameness.marked} AND mark % {turns} = {turn}") for turn in range(turns)])
    if not len(shared):
        return False
    con.register("batch", pa.table({"mark": shared}))
    try:
        select = f"SELECT line FROM ({sameness.marked}) SEMI JOIN batch USING (mark)"
        con.execute(f"CREATE OR REPLACE TEMP TABLE suspects AS {select}")
    finally:
        con.unregister("batch")
    return True


def _shared(con: duckdb.DuckDBPyConnection, marked: str) -> npt.NDArray[np.uint64]:
    """Return each mark that more than one of the rows has."""
    marks = np.asarray(con.execute(f"SELECT mark FROM ({marked})").fetchnumpy()["mark"], dtype=np.uint64)
    marks.sort()
    return np.unique(marks[1:][marks[1:] == marks[:-1]])


def _repeats(sameness: _Sameness) -> str:
    cells = ", ".join(every_cell(sameness.table))
    by = ", ".join(sameness.by)
    wanted = ", ".join(dict.fromkeys([*sameness.by, *every_cell(sameness.table)]))
    return f"""
        WITH ordered AS (
            SELECT line, row_number() OVER w AS number, first_value(line) OVER w AS first_line,
                   first_value(hash({cells})) OVER w = hash({cells}) AS is_same
            FROM (SELECT {wanted}, line FROM resolved WHERE {sameness.condition}) SEMI JOIN suspects USING (line)
            ANTI JOIN faults USING (line)
            WINDOW w AS (PARTITION BY {by} ORDER BY line)
        )
        SELECT line, {_REPEATED}, CASE WHEN NOT is_same THEN $col END,
               CASE WHEN is_same THEN 'the same row stands earlier' ELSE $reason END,
               'the first is ' || $file || ':' || first_line
        FROM ordered WHERE number > 1
    """
