"""Finds rows that stand twice in one file: there nothing says which of the two is meant."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bobstay.ingest.checks import every_cell
from bobstay.ingest.staging import named, one_row

if TYPE_CHECKING:
    import duckdb

    from bobstay.tables import InputTable

_REPEATED = 200


@dataclass(frozen=True, slots=True)
class _Sameness:
    """Two rows of `table` that meet `condition` are the same when they agree in the columns `by`."""

    table: InputTable
    by: tuple[str, ...]
    condition: str
    key: tuple[str, ...] = ()

    @property
    def marks(self) -> str:
        """SQL for the rows of the part, each with a mark that equal rows share.

        Marks are compared within one query only: hash() may differ from version to version.
        """
        return (
            f"SELECT hash({', '.join(self.by)}) AS mark, line FROM resolved "
            f"WHERE {self.condition} AND line NOT IN (SELECT line FROM faults)"
        )


def find_repeats(con: duckdb.DuckDBPyConnection, table: InputTable, *, file: str) -> None:
    """Add to `faults` the rows whose key, or where they have none all of whose cells, stand earlier."""
    for sameness in _samenesses(table):
        _find(con, sameness, file=file)


def _samenesses(table: InputTable) -> list[_Sameness]:
    if not table.key:
        return [_Sameness(table, every_cell(table), "true")]
    kinds = {c.name: c.kind for c in table.columns}
    by = tuple(named(f"{name}_earliest" if kinds[name] == "date" else name) for name in table.key)
    has_key = " AND ".join(f"{name} IS NOT NULL" for name in by)
    return [_Sameness(table, by, has_key, table.key), _Sameness(table, every_cell(table), f"NOT ({has_key})")]


def _find(con: duckdb.DuckDBPyConnection, sameness: _Sameness, *, file: str) -> None:
    con.execute(
        "CREATE OR REPLACE TEMP TABLE shared_marks AS "
        f"SELECT mark FROM ({sameness.marks}) GROUP BY mark HAVING count(*) > 1"
    )
    if one_row(con, "SELECT count(*) FROM shared_marks") == (0,):
        return  # equal rows have equal marks, so none is equal to another
    key = " and ".join(sameness.key)
    column = sameness.key[0] if sameness.key else None
    con.execute(
        f"INSERT INTO faults {_repeats(sameness)}",
        {"file": file, "reason": f"the same {key} stands earlier, with other cells", "col": column},
    )


def _repeats(sameness: _Sameness) -> str:
    cells = ", ".join(every_cell(sameness.table))
    by = ", ".join(sameness.by)
    wanted = ", ".join(dict.fromkeys([*sameness.by, *every_cell(sameness.table)]))
    return f"""
        WITH marked AS ({sameness.marks}),
        suspects AS (
            SELECT line FROM marked WHERE mark IN (SELECT mark FROM shared_marks)
        ),
        ordered AS (
            SELECT line, row_number() OVER w AS number, first_value(line) OVER w AS first_line,
                   first_value(hash({cells})) OVER w = hash({cells}) AS is_same
            FROM (SELECT {wanted}, line FROM resolved WHERE {sameness.condition}) JOIN suspects USING (line)
            WINDOW w AS (PARTITION BY {by} ORDER BY line)
        )
        SELECT line, {_REPEATED}, CASE WHEN NOT is_same THEN $col END,
               CASE WHEN is_same THEN 'the same row stands earlier' ELSE $reason END,
               'the first is ' || $file || ':' || first_line
        FROM ordered WHERE number > 1
    """
