"""Boats that went by other names: rows under such a name are read as the boat's, and that is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.ingest.staging import one_row
from bobstay.tables import ALIASES, AVAILABILITY, BOATS, EVENTS, FITTINGS, INSPECTIONS

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

    from bobstay.tables import InputTable

# The first and the last day a row speaks of; a day that is not known lies in any time.
_DAYS: dict[str, tuple[str, str]] = {
    BOATS.name: ("NULL", "NULL"),
    FITTINGS.name: ("installed_earliest", "removed_latest"),
    INSPECTIONS.name: ("inspected_on_earliest", "inspected_on_latest"),
    EVENTS.name: ("happened_on_earliest", "happened_on_latest"),
    AVAILABILITY.name: ('"from_earliest"', '"to_latest"'),
}


def read_by_alias(con: duckdb.DuckDBPyConnection, table: InputTable, *, shown: str, say: Callable[[str], None]) -> int:
    """Put boat_id in place of aliases in `resolved`; return how many rows were under an alias.

    A name that would stand for two boats on the days of a row is left as it is, so that the row is set aside.
    """
    if table.name not in _DAYS or one_row(con, "SELECT count(*) FROM aliases") == (0,):
        return 0
    con.execute(f"CREATE OR REPLACE TEMP TABLE renamed AS {_renamed(table)}")
    rows = con.execute("SELECT alias, boat_id, count(*) FROM renamed GROUP BY ALL ORDER BY ALL").fetchall()
    if not rows:
        return 0
    con.execute("DROP VIEW IF EXISTS as_said")
    con.execute("ALTER VIEW resolved RENAME TO as_said")
    con.execute(
        "CREATE OR REPLACE TEMP VIEW resolved AS SELECT s.* REPLACE (coalesce(a.boat_id, s.boat_id) AS boat_id) "
        "FROM as_said AS s LEFT JOIN renamed AS a ON a.line = s.line"
    )
    for alias, boat_id, count in rows:
        say(f"{shown}: {count} rows of {alias} are read as those of {boat_id} ({ALIASES.name})")
    return sum(count for _, _, count in rows)


def _renamed(table: InputTable) -> str:
    first, last = _DAYS[table.name]
    is_timeless = "true" if table is BOATS else "false"
    return f"""
        WITH said AS (
            SELECT line, boat_id AS alias, {is_timeless} AS is_timeless,
                   CAST({first} AS DATE) AS first_on, CAST({last} AS DATE) AS last_on
            FROM resolved WHERE boat_id IN (SELECT alias FROM aliases)
        )
        SELECT s.line, s.alias, min(a.boat_id) AS boat_id
        FROM said AS s JOIN aliases AS a ON a.alias = s.alias
        WHERE is_timeless OR (
            (a.from_earliest IS NULL OR s.last_on IS NULL OR s.last_on >= a.from_earliest)
            AND (a.to_latest IS NULL OR s.first_on IS NULL OR s.first_on <= a.to_latest)
        )
        GROUP BY s.line, s.alias HAVING count(DISTINCT a.boat_id) = 1
    """
