"""Finds rows that stand twice: in the same file, in another of the same call, or already in the store."""

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
        """SQL for the rows of the store and of the part, each with a mark that equal rows share.

        Marks are compared within one query only: hash() may differ from version to version.
        """
        mark = f"hash({', '.join(self.by)}) AS mark"
        return (
            f"SELECT {mark}, file_id, line FROM {named(self.table.name)} WHERE {self.condition} UNION ALL "
            f"SELECT {mark}, CAST($file_id AS BIGINT), line FROM resolved "
            f"WHERE {self.condition} AND line NOT IN (SELECT line FROM faults)"
        )


def find_repeats(con: duckdb.DuckDBPyConnection, table: InputTable, *, file_id: int, file: str) -> None:
    """Add to `faults` the rows whose key, or where they have none all of whose cells, stand earlier."""
    for sameness in _samenesses(table):
        _find(con, sameness, file_id=file_id, file=file)


def _samenesses(table: InputTable) -> list[_Sameness]:
    if not table.key:
        return [_Sameness(table, every_cell(table), "true")]
    kinds = {c.name: c.kind for c in table.columns}
    by = tuple(named(f"{name}_earliest" if kinds[name] == "date" else name) for name in table.key)
    has_key = " AND ".join(f"{name} IS NOT NULL" for name in by)
    return [_Sameness(table, by, has_key, table.key), _Sameness(table, every_cell(table), f"NOT ({has_key})")]


def _find(con: duckdb.DuckDBPyConnection, sameness: _Sameness, *, file_id: int, file: str) -> None:
    marks, different = one_row(
        con, f"SELECT count(*), count(DISTINCT mark) FROM ({sameness.marks})", {"file_id": file_id}
    )
    if marks == different:
        return  # equal rows have equal marks, so none is equal to another
    key = " and ".join(sameness.key)
    column = sameness.key[0] if sameness.key else None
    con.execute(
        f"INSERT INTO faults {_repeats(sameness)}",
        {"file_id": file_id, "file": file, "reason": f"the same {key} stands earlier, with other cells", "col": column},
    )


def _repeats(sameness: _Sameness) -> str:
    cells = ", ".join(every_cell(sameness.table))
    by = ", ".join(sameness.by)
    wanted = ", ".join(dict.fromkeys([*sameness.by, *every_cell(sameness.table)]))
    return f"""
        WITH marked AS ({sameness.marks}),
        suspects AS (
            SELECT file_id, line FROM marked
            WHERE mark IN (SELECT mark FROM marked GROUP BY mark HAVING count(*) > 1)
        ),
        rows AS (
            SELECT {wanted}, file_id, line FROM {named(sameness.table.name)} WHERE {sameness.condition} UNION ALL
            SELECT {wanted}, CAST($file_id AS BIGINT), line FROM resolved WHERE {sameness.condition}
        ),
        ordered AS (
            SELECT file_id, line, row_number() OVER w AS number,
                   first_value(file_id) OVER w AS first_file_id, first_value(line) OVER w AS first_line,
                   first_value(hash({cells})) OVER w = hash({cells}) AS is_same
            FROM rows JOIN suspects USING (file_id, line)
            WINDOW w AS (PARTITION BY {by} ORDER BY file_id, line)
        )
        SELECT o.line, {_REPEATED}, CASE WHEN NOT is_same THEN $col END,
               CASE WHEN is_same THEN 'the same row stands earlier' ELSE $reason END,
               'the first is ' || coalesce(f.file, $file) || ':' || first_line
        FROM ordered AS o LEFT JOIN files AS f ON f.file_id = o.first_file_id
        WHERE number > 1 AND o.file_id = $file_id
    """
