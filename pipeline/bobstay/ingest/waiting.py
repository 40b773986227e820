"""Rows that waited for a name and a reason: used once somebody answers for the change and gives the file again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from bobstay.ingest.aliases import read_by_alias
from bobstay.ingest.changes import ASK, hold_back, supersede
from bobstay.ingest.checks import find_faults
from bobstay.ingest.matching import match_stored
from bobstay.ingest.reading import read_odd_cells
from bobstay.ingest.repeats import find_repeats
from bobstay.ingest.staging import one_row, stage
from bobstay.ingest.storing import store_cells_unread, store_rows

if TYPE_CHECKING:
    from collections.abc import Callable

    import duckdb

    from bobstay.ingest.record import Part, Rules

_NOT_WAITING = -2  # the rank of rows that are not looked at again


def use_waiting(con: duckdb.DuckDBPyConnection, part: Part, *, rules: Rules, say: Callable[[str], None]) -> int:
    """Use the rows of a file that is held already which waited for `rules.confirmed`; return how many they were."""
    file_id, file = one_row(
        con,
        'SELECT file_id, file FROM files WHERE sha256 = $sha AND "table" = $table AND part = $part',
        {"sha": part.sha256, "table": part.header.table.name, "part": part.part},
    )
    held = replace(part, file=file)
    con.execute(
        "CREATE OR REPLACE TEMP TABLE waiting AS SELECT line FROM set_aside "
        'WHERE file = $file AND "table" = $table AND contains(hint, $ask)',
        {"file": held.shown, "table": held.header.table.name, "ask": ASK},
    )
    if rules.confirmed is None or one_row(con, "SELECT count(*) FROM waiting") == (0,):
        return 0
    return _used(con, held, file_id, rules, say)


def _used(con: duckdb.DuckDBPyConnection, part: Part, file_id: int, rules: Rules, say: Callable[[str], None]) -> int:
    rules = part.rules or rules
    table = part.header.table
    _, broken = stage(con, part, rules=rules)
    odd = read_odd_cells(con, part.header, rules=rules)
    read_by_alias(con, table, shown=part.shown, say=say)
    find_faults(con, part.header, broken, odd=odd)
    con.execute(
        f"INSERT INTO faults SELECT line, {_NOT_WAITING}, NULL, '-', NULL FROM resolved "
        "WHERE line NOT IN (SELECT line FROM waiting)"
    )
    find_repeats(con, table, file=part.shown)
    matched = match_stored(con, part.header)
    if not matched:
        return 0  # nothing is there that the rows could change
    hold_back(con, part, confirmed=rules.confirmed)
    unread = store_cells_unread(con, part, odd)
    known, newer = supersede(con, part, file_id=file_id, confirmed=rules.confirmed)
    used = known + newer + store_rows(con, table, file_id, matched=matched)
    _recount(con, part, file_id, (used, known, newer, unread))
    return used


def _recount(con: duckdb.DuckDBPyConnection, part: Part, file_id: int, counts: tuple[int, int, int, int]) -> None:
    used, known, superseding, unread = counts
    con.execute(
        'DELETE FROM set_aside WHERE file = $file AND "table" = $table '
        "AND line IN (SELECT line FROM waiting) AND line NOT IN (SELECT line FROM faults)",
        {"file": part.shown, "table": part.header.table.name},
    )
    con.execute(
        "UPDATE files SET rows_used = rows_used + $used, rows_set_aside = rows_set_aside - $used, "
        "rows_known = rows_known + $known, rows_superseding = rows_superseding + $superseding, "
        "cells_unread = cells_unread + $unread WHERE file_id = $file_id",
        {"used": used, "known": known, "superseding": superseding, "unread": unread, "file_id": file_id},
    )
