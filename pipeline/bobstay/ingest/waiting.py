"""Rows that waited: for a name and a reason, or for their boat or fitting; used once that is there and the file is
given again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from bobstay.errors import BobstayError
from bobstay.ingest.aliases import read_by_alias
from bobstay.ingest.changes import ASK, hold_back, supersede
from bobstay.ingest.checks import NO_BOAT, NO_FITTING, find_faults
from bobstay.ingest.matching import match_stored
from bobstay.ingest.reading import read_odd_cells
from bobstay.ingest.repeats import find_repeats
from bobstay.ingest.staging import one_row, stage
from bobstay.ingest.storing import store_cells_unread, store_rows, store_set_aside

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

    from bobstay.ingest.record import Part, Rules

_NOT_WAITING = -2  # the rank of rows that are not looked at again
_UNKNOWN = "reason IN ($boat, $fitting)"
_REASONS = {"boat": NO_BOAT, "fitting": NO_FITTING}


def use_waiting(con: duckdb.DuckDBPyConnection, part: Part, *, rules: Rules, say: Callable[[str], None]) -> int:
    """Use what can be used now of a file that is held already; return how many rows that are.

    Those that would weaken an indication wait for `rules.confirmed`; those of an unknown boat or fitting are tried
    again where boats, fittings or aliases were taken in since.
    """
    known = con.execute(_HELD, {"sha": part.sha256, "table": part.header.table.name, "part": part.part}).fetchall()
    if not known:  # the same bytes stand twice in this call: the first of them is yet to be taken in
        return 0
    ((file_id, file),) = known
    held = replace(part, file=file)
    is_tried = one_row(con, _TAKEN_IN_SINCE, {"file_id": file_id})[0]
    con.execute(
        f"CREATE OR REPLACE TEMP TABLE waiting AS SELECT line FROM set_aside "
        f'WHERE file = $file AND "table" = $table AND (contains(hint, $ask) AND $named OR {_UNKNOWN} AND $tried)',
        {"file": held.shown, "table": held.header.table.name, "ask": ASK, "named": rules.confirmed is not None}
        | {"tried": is_tried}
        | _REASONS,
    )
    if one_row(con, "SELECT count(*) FROM waiting") == (0,):
        return 0
    return _used(con, held, file_id, rules, say)


_HELD = 'SELECT file_id, file FROM files WHERE sha256 = $sha AND "table" = $table AND part = $part'
_TAKEN_IN_SINCE = """SELECT coalesce(max(file_id) > $file_id, false) FROM files
    WHERE "table" IN ('boats', 'fittings', 'aliases')"""


def now_known(con: duckdb.DuckDBPyConnection) -> tuple[tuple[str, int], ...]:
    """Return the files of which rows were set aside for a boat that is known by now, with the number of such rows."""
    rows = con.execute(
        """
        SELECT file, count(*) FROM set_aside
        WHERE reason = $boat AND trim(value) IN (SELECT boat_id FROM boats UNION ALL SELECT alias FROM aliases)
        GROUP BY file ORDER BY file
        """,
        {"boat": NO_BOAT},
    )
    return tuple(rows.fetchall())


def _used(con: duckdb.DuckDBPyConnection, part: Part, file_id: int, rules: Rules, say: Callable[[str], None]) -> int:
    rules = part.rules or rules
    table = part.header.table
    rows, broken = stage(con, part, rules=rules)
    odd = read_odd_cells(con, part.header, rules=rules)
    read_by_alias(con, table, shown=part.shown, say=say)
    find_faults(con, part.header, broken, odd=odd)
    con.execute(
        f"INSERT INTO faults SELECT line, {_NOT_WAITING}, NULL, '-', NULL FROM resolved "
        "WHERE line NOT IN (SELECT line FROM waiting)"
    )
    find_repeats(con, table, file=part.shown, rows=rows)
    if matched := match_stored(con, part.header):
        hold_back(con, part, confirmed=rules.confirmed)
    unread = store_cells_unread(con, part, odd)
    known, newer = supersede(con, part, file_id=file_id, confirmed=rules.confirmed) if matched else (0, 0)
    used = known + newer + store_rows(con, table, file_id, matched=matched)
    _recount(con, part, file_id, (used, known, newer, unread))
    return used


def _recount(con: duckdb.DuckDBPyConnection, part: Part, file_id: int, counts: tuple[int, int, int, int]) -> None:
    """Set aside anew what waited and is still not used, with its reason of today; put the file's counts right."""
    used, known, superseding, unread = counts
    (waited,) = one_row(
        con,
        'DELETE FROM set_aside WHERE file = $file AND "table" = $table AND line IN (SELECT line FROM waiting)',
        {"file": part.shown, "table": part.header.table.name},
    )
    con.execute("DELETE FROM faults WHERE line NOT IN (SELECT line FROM waiting)")
    if waited != used + store_set_aside(con, part):
        raise BobstayError(f"{waited} rows waited, but {used} are used", where=part.shown, remedy="please report this")
    con.execute(
        "UPDATE files SET rows_used = rows_used + $used, rows_set_aside = rows_set_aside - $used, "
        "rows_known = rows_known + $known, rows_superseding = rows_superseding + $superseding, "
        "cells_unread = cells_unread + $unread WHERE file_id = $file_id",
        {"used": used, "known": known, "superseding": superseding, "unread": unread, "file_id": file_id},
    )
