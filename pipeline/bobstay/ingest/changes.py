"""What a newer row changes: kept for ever, and where it would weaken an indication only at somebody's word.

A row that is replaced goes to `superseded` as it was, with the row that took its place and every cell that differs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.ingest.matching import cells_of
from bobstay.ingest.staging import named, one_row
from bobstay.sql_text import file_named, quoted
from bobstay.tables import BOATS, EVENTS, FITTINGS, INSPECTIONS, LOOK_OF_SHEET

if TYPE_CHECKING:
    import duckdb

    from bobstay.ingest.record import Confirmation, Part
    from bobstay.tables import InputTable

NEEDS_WORD = 300  # the rank of the fault by which a row waits for --confirm-change
ASK = "--confirm-change NAME --reason TEXT"
_OTHER_BOAT = 299

_FOUND = "{0}.result IN ('relevant', 'failed') AND {0}.disposition IS DISTINCT FROM 'unfounded'"
_SURE = "({0}.result = 'failed' OR {0}.disposition = 'confirmed')"
_TAKEN_OUT = "coalesce({0}.action IN ('replaced', 'removed'), false)"
_WAS_FOUND, _IS_FOUND = _FOUND.format("o"), _FOUND.format("n")

# What may not happen without a name and a reason: (what it is, the column, SQL on the old row o and the new row n).
_WEAKENING: dict[str, tuple[tuple[str, str, str], ...]] = {
    INSPECTIONS.name: (
        ("an indication would no longer be one", "result", f"{_WAS_FOUND} AND NOT ({_IS_FOUND})"),
        (
            "a confirmed indication would no longer be confirmed",
            "disposition",
            f"{_WAS_FOUND} AND {_SURE.format('o')} AND NOT coalesce({_SURE.format('n')}, false)",
        ),
        (
            "the length of an indication would be gone",
            "indication_length_mm",
            f"{_WAS_FOUND} AND o.indication_length_mm IS NOT NULL AND n.indication_length_mm IS NULL",
        ),
        (
            "the same inspection_id would tell of another fitting or another day",
            "inspection_id",
            f"NOT starts_with(o.inspection_id, '{LOOK_OF_SHEET}') AND (o.fitting_id IS DISTINCT FROM n.fitting_id "
            "OR coalesce(o.inspected_on_latest < n.inspected_on_earliest, false) "
            "OR coalesce(n.inspected_on_latest < o.inspected_on_earliest, false))",
        ),
    ),
    FITTINGS.name: (
        (
            "a part taken out for an indication would no longer be so",
            "removal_reason",
            "o.removal_reason = 'indication' AND o.removed IS NOT NULL "
            "AND (n.removal_reason IS DISTINCT FROM 'indication' OR n.removed IS NULL)",
        ),
    ),
}
# What makes parts, services or events begin or end elsewhere.
_VOIDING: dict[str, str] = {
    INSPECTIONS.name: f"{_TAKEN_OUT.format('o')} <> {_TAKEN_OUT.format('n')}",
    FITTINGS.name: "(o.installed_earliest, o.installed_latest, o.removed_earliest, o.removed_latest, o.removed IS NULL)"
    " IS DISTINCT FROM "
    "(n.installed_earliest, n.installed_latest, n.removed_earliest, n.removed_latest, n.removed IS NULL)",
    BOATS.name: '(o.joined_earliest, o.joined_latest, o.left_earliest, o.left_latest, o."left" IS NULL) IS DISTINCT '
    'FROM (n.joined_earliest, n.joined_latest, n.left_earliest, n.left_latest, n."left" IS NULL)',
    EVENTS.name: "o.fitting_types IS DISTINCT FROM n.fitting_types",
}


def hold_back(con: duckdb.DuckDBPyConnection, part: Part, *, confirmed: Confirmation | None) -> None:
    """Note in `changes` what rows of `merged` would change; add to `faults` those that need a name and have none."""
    con.execute(f"CREATE OR REPLACE TEMP TABLE changes AS {_changes(part.header.table)}")
    con.execute(
        f"INSERT INTO faults SELECT line, {_OTHER_BOAT}, 'inspection_id', "
        "'the same inspection_id stands for another boat', "
        "'the first is ' || before || ': give each look an id of its own, or leave it empty' "
        "FROM changes WHERE is_other_boat"
    )
    if confirmed is None:
        con.execute(
            f"INSERT INTO faults SELECT line, {NEEDS_WORD}, weakened, weakens, 'the row before is ' || before || "
            f"': if this corrects it, give the file again with {ASK}; if it tells of something else, "
            "give it an id of its own' FROM changes WHERE weakens IS NOT NULL AND NOT is_other_boat"
        )


def _changes(table: InputTable) -> str:
    rules = _WEAKENING.get(table.name, ())
    weakens = _first_of([(test, what) for what, _, test in rules])
    weakened = _first_of([(test, column) for _, column, test in rules])
    other_boat = "o.boat_id <> n.boat_id" if table is INSPECTIONS else "false"
    return f"""
        SELECT n.line, n.old_row, f.file AS old_file, o.line AS old_line, f.file || ':' || o.line AS before,
               {weakens} AS weakens, {weakened} AS weakened, {other_boat} AS is_other_boat,
               coalesce({_VOIDING.get(table.name, "false")}, false) AS moves,
               {_differences(table)} AS differences, {_as_it_was(table)} AS row_json, {_boat(table)} AS boat_id
        FROM merged AS n
        JOIN {named(table.name)} AS o ON o.rowid = n.old_row
        JOIN (SELECT file_id, {file_named("f")} AS file FROM files AS f) AS f ON f.file_id = o.file_id
    """


def _first_of(cases: list[tuple[str, str]]) -> str:
    """Return SQL for the text that goes with the first test that holds, NULL where none does."""
    whens = " ".join(f"WHEN {test} THEN {quoted(text)}" for test, text in cases)
    return f"CASE {whens} END" if cases else "CAST(NULL AS VARCHAR)"


def _boat(table: InputTable) -> str:
    return "o.boat_id" if "boat_id" in table.column_names else "CAST(NULL AS VARCHAR)"


def _differences(table: InputTable) -> str:
    """Return SQL for `column: before -> after` of each cell that says something else."""
    pieces = []
    for column in table.columns:
        name = named(column.name)
        differ = " OR ".join(f"{_of('o', c)} IS DISTINCT FROM {_of('n', c)}" for c in cells_of(column))
        before, after = (f"coalesce(CAST({side}.{name} AS VARCHAR), 'not stated')" for side in "on")
        pieces.append(f"CASE WHEN {differ} THEN {quoted(column.name + ': ')} || {before} || ' -> ' || {after} END")
    pieces.append("CASE WHEN o.extra IS DISTINCT FROM n.extra THEN 'columns of your own' END")
    return f"concat_ws('; ', {', '.join(pieces)})"


def _of(side: str, cell: str) -> str:
    return f"({side}.{cell})"


def _as_it_was(table: InputTable) -> str:
    names = [*table.column_names, "extra"]
    return f"CAST(json_object({', '.join(f'{quoted(n)}, o.{named(n)}' for n in names)}) AS VARCHAR)"


def supersede(
    con: duckdb.DuckDBPyConnection, part: Part, *, file_id: int, confirmed: Confirmation | None
) -> tuple[int, int]:
    """Move the rows that newer ones replace to `superseded`, and put the newer ones in their table.

    Return how many rows of the part were known, and how many took the place of another.
    """
    con.execute("DELETE FROM changes WHERE line IN (SELECT line FROM faults)")
    _keep(con, part, confirmed)
    table = named(part.header.table.name)
    con.execute(f"DELETE FROM {table} WHERE rowid IN (SELECT old_row FROM changes)")
    con.execute(
        f"INSERT INTO {table} BY NAME SELECT * EXCLUDE (old_row), CAST($file_id AS BIGINT) AS file_id "
        "FROM merged WHERE line IN (SELECT line FROM changes) ORDER BY line",
        {"file_id": file_id},
    )
    known, newer = one_row(con, "SELECT (SELECT count(*) FROM known), (SELECT count(*) FROM changes)")
    return int(known), int(newer)


def _keep(con: duckdb.DuckDBPyConnection, part: Part, confirmed: Confirmation | None) -> None:
    con.execute(
        """
        INSERT INTO superseded BY NAME
        SELECT $table AS "table", boat_id, old_file AS file, old_line AS line, $by AS by_file, line AS by_line,
               CASE WHEN weakens IS NOT NULL THEN 'weakens_indication' WHEN moves THEN 'moves_history'
                    ELSE 'other' END AS change,
               concat_ws('; ', weakens, differences) AS what,
               CASE WHEN weakens IS NOT NULL THEN $name END AS confirmed_by,
               CASE WHEN weakens IS NOT NULL THEN $reason END AS reason,
               row_json
        FROM changes ORDER BY line
        """,
        {
            "table": part.header.table.name,
            "by": part.shown,
            "name": confirmed.name if confirmed else None,
            "reason": confirmed.reason if confirmed else None,
        },
    )
