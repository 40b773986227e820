"""Finds the rows of `resolved` that cannot be used: each check adds (line, rank, column, reason, hint) to `faults`.

Of several faults in a row the one of lowest rank is told: cells in the table's order, then what rows say together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.ingest.pointing import UNKNOWN_BOAT, UNKNOWN_FITTING, point_at_boats, point_at_fittings
from bobstay.ingest.reading import joins, read_as, spares_row
from bobstay.ingest.staging import TEXT_KINDS, named, present
from bobstay.sql_text import quoted
from bobstay.store import handed_over
from bobstay.tables import ALIASES, AVAILABILITY, BOATS, FITTINGS, INSPECTIONS, NOTICES, PRICES

if TYPE_CHECKING:
    import duckdb

    from bobstay.ingest.record import Header, Record
    from bobstay.tables import InputColumn, InputTable

_BROKEN, _TOGETHER, _TIMES = -1, 100, 103

# What a row must not say: (SQL on resolved, column at fault, reason, hint), by table.
_CONTRADICTIONS: dict[str, tuple[tuple[str, str, str, str], ...]] = {
    BOATS.name: (("left_latest < joined_earliest", "left", "left lies before joined", "correct one of the two days"),),
    FITTINGS.name: (
        ("removed_latest < installed_earliest", "removed", "removed before installed", "correct one of the two days"),
    ),
    AVAILABILITY.name: (('"to_latest" < "from_earliest"', "to", "to lies before from", "correct one of the two days"),),
    ALIASES.name: (
        ('"to_latest" < "from_earliest"', "to", "to lies before from", "correct one of the two days"),
        ("alias = boat_id", "alias", "the alias is the boat_id itself", "leave the row out"),
        (
            'alias IN (SELECT boat_id FROM boats) AND "from" IS NULL AND "to" IS NULL',
            "alias",
            "the alias is the boat_id of a boat in boats",
            "take that row out of boats if it is the same boat; if it is another, say from and to",
        ),
    ),
    PRICES.name: (
        (
            "access IS NULL AND (fitting_type IS NULL OR action IS NULL)",
            "access",
            "the row says neither an access nor a fitting_type with an action",
            "say what the price is for",
        ),
        ("cost IS NULL AND hours IS NULL", "cost", "neither cost nor hours is stated", "state one of the two"),
    ),
    NOTICES.name: (
        (
            "coalesce(fitting_type, material, supplier, batch) IS NULL",
            "fitting_type",
            "the notice names no type, material, supplier or batch, so it would speak of every part",
            "say which parts it is about",
        ),
        (
            "installed_to_latest < installed_from_earliest",
            "installed_to",
            "installed_to lies before installed_from",
            "correct one of the two days",
        ),
    ),
}


NO_BOAT, NO_FITTING = "boat_id is not in boats", "fitting_id is not in fittings for this boat"


def find_faults(
    con: duckdb.DuckDBPyConnection, header: Header, broken: list[Record], *, odd: list[InputColumn]
) -> None:
    """Fill `faults` with what is wrong in single rows and against the boats and fittings already stored."""
    con.execute(
        "CREATE OR REPLACE TEMP TABLE faults (line BIGINT, rank BIGINT, col VARCHAR, reason VARCHAR, hint VARCHAR)"
    )
    _add_broken(con, broken)
    _add_empty(con, header)
    _add_unread(con, odd)
    table = header.table
    for test, column, reason, hint in _CONTRADICTIONS.get(table.name, ()):
        _add(con, f"SELECT line, {_TOGETHER}, $col, $reason, $hint FROM resolved WHERE {test}", column, reason, hint)
    if table is INSPECTIONS:
        _add_misplaced(con)
    elif table is not BOATS and "boat_id" in table.column_names:
        _add_unknown_boats(con, "SELECT line, boat_id FROM resolved")


def _add(con: duckdb.DuckDBPyConnection, select: str, column: str, reason: str, hint: str) -> None:
    con.execute(f"INSERT INTO faults {select}", {"col": column, "reason": reason, "hint": hint})


def _add_broken(con: duckdb.DuckDBPyConnection, broken: list[Record]) -> None:
    import pyarrow as pa

    if not broken:
        return
    columns = {
        "line": pa.array([r.line for r in broken], pa.int64()),
        "reason": pa.array([r.fault for r in broken], pa.string()),
        "hint": pa.array([r.hint for r in broken], pa.string()),
    }
    with handed_over(con, "batch", pa.table(columns)):
        con.execute(f"INSERT INTO faults SELECT line, {_BROKEN}, NULL, reason, hint FROM batch")


def _add_empty(con: duckdb.DuckDBPyConnection, header: Header) -> None:
    for rank, (_, column) in enumerate(present(header)):
        if column.required:
            odd = "" if column.kind in TEXT_KINDS else f"AND {named(f'{column.name}__odd')} IS NULL"
            name = named(f"{column.name}_earliest") if column.kind == "date" else named(column.name)
            _add(
                con,
                f"SELECT line, {rank}, $col, $reason, $hint FROM lined WHERE {name} IS NULL {odd}",
                column.name,
                f"{column.name} is empty",
                f"state it: {column.about}",
            )


def _add_unread(con: duckdb.DuckDBPyConnection, odd: list[InputColumn]) -> None:
    for column in odd:
        if not spares_row(column):
            con.execute(
                f"INSERT INTO faults SELECT s.line, p.rank, p.col, r.reason, r.hint FROM lined AS s "
                f"JOIN readings AS r ON r.odd = s.{named(f'{column.name}__odd')} AND r.col = $col "
                "JOIN places AS p ON p.col = r.col WHERE r.reason IS NOT NULL",
                {"col": column.name},
            )


def unread_cells(odd: list[InputColumn]) -> str:
    """Return SQL for (line, col, value, reason, hint) of the optional cells that could not be read."""
    pieces = [
        f"SELECT s.line, {quoted(c.name)} AS col, s.{named(f'{c.name}__odd')} AS value, "
        f"{read_as(c)}.reason, {read_as(c)}.hint FROM lined AS s {joins([c])} WHERE {read_as(c)}.reason IS NOT NULL"
        for c in odd
        if spares_row(c)
    ]
    return " UNION ALL ".join(pieces)


def _add_misplaced(con: duckdb.DuckDBPyConnection) -> None:
    """Add looks on unknown boats, at unknown fittings, at what was not there yet, or on boats that had left.

    One pass finds the few that are not at a known fitting in its time; only these are asked what is wrong with them.
    """
    con.execute(
        """
        CREATE OR REPLACE TEMP TABLE misplaced AS
        WITH parts AS (
            SELECT boat_id, fitting_id,
                   CASE WHEN count(*) = count(installed_earliest) THEN min(installed_earliest) END AS earliest
            FROM fittings GROUP BY boat_id, fitting_id
        ),
        watched AS (
            SELECT p.boat_id, p.fitting_id, coalesce(p.earliest, b.built_earliest) AS earliest, b.left_latest
            FROM parts AS p JOIN boats AS b ON b.boat_id = p.boat_id
        )
        SELECT r.line, r.boat_id, r.fitting_id, r.inspected_on_earliest, r.inspected_on_latest
        FROM resolved AS r LEFT JOIN watched AS w ON w.boat_id = r.boat_id AND w.fitting_id = r.fitting_id
        WHERE w.boat_id IS NULL OR r.inspected_on_latest < w.earliest OR r.inspected_on_earliest > w.left_latest
        """
    )
    _add_unknown_boats(con, "SELECT line, boat_id FROM misplaced")
    _add_unknown_fittings(con)
    _add_out_of_time(con)


def _add_unknown_boats(con: duckdb.DuckDBPyConnection, rows: str) -> None:
    _add(
        con,
        f"SELECT line, {UNKNOWN_BOAT}, $col, $reason, $hint FROM ({rows}) AS r "
        "WHERE boat_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM boats AS b WHERE b.boat_id = r.boat_id)",
        "boat_id",
        NO_BOAT,
        "add the boat to boats and give this file again, or correct the id",
    )
    point_at_boats(con)


def _add_unknown_fittings(con: duckdb.DuckDBPyConnection) -> None:
    _add(
        con,
        f"SELECT line, {UNKNOWN_FITTING}, $col, $reason, $hint FROM misplaced AS r "
        "WHERE boat_id IS NOT NULL AND fitting_id IS NOT NULL AND NOT EXISTS "
        "(SELECT 1 FROM fittings AS f WHERE f.boat_id = r.boat_id AND f.fitting_id = r.fitting_id)",
        "fitting_id",
        NO_FITTING,
        "add the fitting to fittings and give this file again, or correct the id; leave it empty where the whole boat "
        "was looked over",
    )
    point_at_fittings(con)


def _add_out_of_time(con: duckdb.DuckDBPyConnection) -> None:
    con.execute(
        f"""
        INSERT INTO faults
        WITH parts AS (
            SELECT boat_id, fitting_id,
                   CASE WHEN count(*) = count(installed_earliest) THEN min(installed_earliest) END AS earliest
            FROM fittings SEMI JOIN misplaced USING (boat_id, fitting_id) GROUP BY boat_id, fitting_id
        ),
        dated AS (
            SELECT r.line, r.inspected_on_earliest, r.inspected_on_latest, b.left_latest,
                   coalesce(p.earliest, b.built_earliest) AS earliest
            FROM misplaced AS r
            JOIN boats AS b ON b.boat_id = r.boat_id
            LEFT JOIN parts AS p ON p.boat_id = r.boat_id AND p.fitting_id = r.fitting_id
        )
        SELECT line, {_TIMES}, 'inspected_on', 'looked at before it was installed',
               'nothing was there before ' || earliest || ': correct one of the days'
        FROM dated WHERE inspected_on_latest < earliest
        UNION ALL
        SELECT line, {_TIMES}, 'inspected_on', 'looked at after the boat had left',
               'her records end ' || left_latest || ': correct one of the days'
        FROM dated WHERE inspected_on_earliest > left_latest
        """
    )


def every_cell(table: InputTable) -> tuple[str, ...]:
    """Return the columns by which two rows of a table are the same row."""
    return tuple(named(name) for name in (*table.column_names, "extra"))
