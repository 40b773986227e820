"""Matches the rows of a part with those the store holds: the same row is known, the same key with other cells is newer.

Only columns that the file has are compared: a file without a column says nothing about it, and what an earlier
file stated there is carried over.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.ingest.staging import named, one_row, present
from bobstay.sql_text import quoted
from bobstay.tables import FITTINGS, INSPECTIONS

if TYPE_CHECKING:
    import duckdb

    from bobstay.ingest.record import Header
    from bobstay.tables import InputColumn, InputTable

# The columns that say which thing a row tells of, where the table has no id of its own for it.
_THINGS: dict[str, tuple[str, ...]] = {
    "boats": ("boat_id",),
    "fittings": ("boat_id", "fitting_id", "installed"),
    "inspections": ("boat_id", "fitting_id", "inspected_on", "method"),
    "events": ("boat_id", "happened_on", "kind"),
    "slots": ("slot_id", "starts_on"),
    "availability": ("boat_id", "from"),
    "prices": ("access", "fitting_type", "action"),
    "aliases": ("boat_id", "alias", "from"),
    "rules": ("issuer", "fitting_type", "material", "kind"),
    "notices": ("notice_id", "fitting_type", "material", "supplier", "batch"),
}


def match_stored(con: duckdb.DuckDBPyConnection, header: Header) -> bool:
    """Fill `known` and `pairs` (line, old_row) and `merged`; say whether the store held any row to match.

    `known`: rows the store holds already. `pairs`: rows that say something else of the same thing, each with the row
    it takes the place of (by its rowid: several stored rows may come from one line); `merged` has them as they will be
    stored.
    """
    con.execute(
        "CREATE OR REPLACE TEMP TABLE known (line BIGINT, old_row BIGINT);"
        "CREATE OR REPLACE TEMP TABLE pairs (line BIGINT, old_row BIGINT)"
    )
    if one_row(con, f"SELECT count(*) FROM (SELECT 1 FROM {named(header.table.name)} LIMIT 1)") == (0,):
        return False
    _find_known(con, header)
    newest_first = header.table is FITTINGS and header.place("installed") is None
    for key, new_has, old_has in _keys(header):
        _pair(con, header.table, key, new_has, old_has, order="DESC" if newest_first else "ASC")
    if header.table is FITTINGS and header.place("installed") is not None:
        _pair_narrowed(con)
    _merge(con, header)
    return True


def cells_of(column: InputColumn) -> tuple[str, ...]:
    """Return SQL for what a cell says: of a day its bounds, and whether it is stated at all."""
    if column.kind != "date":
        return (named(column.name),)
    return (named(f"{column.name}_earliest"), named(f"{column.name}_latest"), f"{named(column.name)} IS NULL")


def _has_extra(header: Header) -> bool:
    return None in header.columns


def _compared(header: Header) -> list[str]:
    """Return SQL for what rows must agree in to be the same: the columns of the file, and those that say of what."""
    said = [cell for _, column in present(header) for cell in cells_of(column)]
    said += [cell for cell in _thing(header) if cell not in said]
    said += ["extra"] if _has_extra(header) else []
    return said + (["coalesce(cells_unread, '')"] if header.table is INSPECTIONS else [])


def _find_known(con: duckdb.DuckDBPyConnection, header: Header) -> None:
    said = _compared(header)
    columns = ", ".join(f"{cell} AS s{n}" for n, cell in enumerate(said))
    same = " AND ".join(f"o.s{n} IS NOT DISTINCT FROM n.s{n}" for n in range(len(said)))
    con.execute(
        f"""
        INSERT INTO known
        WITH o AS (
            SELECT {columns}, hash({", ".join(said)}) AS mark, file_id, line, rowid AS old_row
            FROM {named(header.table.name)}
        ),
        n AS (
            SELECT {columns}, hash({", ".join(said)}) AS mark, line FROM resolved
            WHERE line NOT IN (SELECT line FROM faults)
        )
        SELECT n.line, o.old_row FROM n JOIN o ON o.mark = n.mark AND {same}
        QUALIFY row_number() OVER (PARTITION BY n.line ORDER BY o.file_id, o.line) = 1
        """
    )


def _thing(header: Header) -> list[str]:
    """Return SQL for the columns that say which thing a row tells of; a file may do without the days among them."""
    by_name = {c.name: c for c in header.table.columns}
    names = [n for n in _THINGS[header.table.name] if header.place(n) is not None or by_name[n].kind != "date"]
    return [cell for name in names for cell in cells_of(by_name[name])]


def _keys(header: Header) -> list[tuple[list[str], str, str]]:
    """Return each key with the conditions under which a row of the part and a stored row have it."""
    if header.table is not INSPECTIONS or header.place("inspection_id") is None:
        return [(_thing(header), "true", "true")]
    by_id = (["inspection_id"], "inspection_id IS NOT NULL", "true")
    return [by_id, (_thing(header), "inspection_id IS NULL", "inspection_id IS NULL")]


def _pair(  # the parts of one query
    con: duckdb.DuckDBPyConnection, table: InputTable, key: list[str], new_has: str, old_has: str, *, order: str
) -> None:
    """Pair rows of one key; where several share it, the first with the first, and so on."""
    columns = ", ".join(f"{cell} AS k{n}" for n, cell in enumerate(key))
    keys = ", ".join(f"k{n}" for n in range(len(key)))
    same = " AND ".join(f"o.k{n} IS NOT DISTINCT FROM n.k{n}" for n in range(len(key)))
    con.execute(
        f"""
        INSERT INTO pairs
        WITH new_rows AS (
            SELECT {columns}, line FROM resolved WHERE ({new_has}) AND {_IS_NEW}
        ),
        old_rows AS (
            SELECT {columns}, file_id, line, rowid AS old_row FROM {named(table.name)} AS t
            WHERE ({old_has}) AND {_IS_OPEN}
        ),
        n AS (SELECT *, row_number() OVER (PARTITION BY {keys} ORDER BY line {order}) AS number FROM new_rows),
        o AS (SELECT *, row_number() OVER (PARTITION BY {keys} ORDER BY file_id {order}, line {order}, old_row {order})
              AS number FROM old_rows)
        SELECT n.line, o.old_row FROM n JOIN o ON o.number = n.number AND {same}
        """
    )


_IS_NEW = (
    "line NOT IN (SELECT line FROM faults) AND line NOT IN (SELECT line FROM known) "
    "AND line NOT IN (SELECT line FROM pairs)"
)
_IS_OPEN = "t.rowid NOT IN (SELECT old_row FROM known) AND t.rowid NOT IN (SELECT old_row FROM pairs)"


def _pair_narrowed(con: duckdb.DuckDBPyConnection) -> None:
    """Pair a part whose roughly known day of installation is now known better, where only one row can be meant."""
    con.execute(
        f"""
        INSERT INTO pairs
        SELECT n.line, t.old_row
        FROM (SELECT * FROM resolved WHERE {_IS_NEW}) AS n
        JOIN (SELECT *, rowid AS old_row FROM fittings AS t WHERE {_IS_OPEN}) AS t
            ON t.boat_id = n.boat_id AND t.fitting_id = n.fitting_id
            AND t.fitting_type = n.fitting_type AND t.material = n.material
            AND n.installed_earliest >= t.installed_earliest AND n.installed_latest <= t.installed_latest
        QUALIFY count(*) OVER (PARTITION BY n.line) = 1 AND count(*) OVER (PARTITION BY t.old_row) = 1
        """
    )


def _merge(con: duckdb.DuckDBPyConnection, header: Header) -> None:
    have = {column.name for _, column in present(header)}
    columns = [name for c in header.table.columns for name in _taken(c, is_new=c.name in have)]
    columns.append("n.extra" if _has_extra(header) else "o.extra")
    if header.table is INSPECTIONS:
        listed = ", ".join(quoted(name) for name in sorted(have))
        still = f"list_filter(string_split(o.cells_unread, ';'), lambda c: NOT list_contains([{listed}], c))"
        columns.append(f"nullif(concat_ws(';', n.cells_unread, array_to_string({still}, ';')), '') AS cells_unread")
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE merged AS SELECT {', '.join(columns)}, p.line, p.old_row "
        f"FROM pairs AS p JOIN resolved AS n ON n.line = p.line "
        f"JOIN {named(header.table.name)} AS o ON o.rowid = p.old_row"
    )


def _taken(column: InputColumn, *, is_new: bool) -> list[str]:
    side = "n" if is_new else "o"
    ends = [f"{column.name}_{end}" for end in ("earliest", "latest")] if column.kind == "date" else []
    return [f"{side}.{named(name)}" for name in (column.name, *ends)]
