"""Takes files into the store, all in one transaction: either every file goes in, or nothing does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.errors import BobstayError, UnusableDataError, UsageError
from bobstay.ingest import headers, places, pointing
from bobstay.ingest.checks import find_faults
from bobstay.ingest.parquet import opened_parquet
from bobstay.ingest.reading import read_odd_cells
from bobstay.ingest.record import FileReport, IngestReport, Part, Rules
from bobstay.ingest.repeats import find_repeats
from bobstay.ingest.staging import one_row, stage
from bobstay.ingest.storing import make_tables, store_cells_unread, store_rows, store_set_aside
from bobstay.ingest.text import opened_text
from bobstay.ingest.workbook import opened_workbook
from bobstay.tables import INPUT_BY_NAME, INPUTS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date
    from pathlib import Path

    import duckdb

NEEDED = ("boats", "fittings", "inspections")  # without a row in each there is nothing to estimate


def _silent(_: str) -> None:
    """Say nothing."""


def ingest(
    con: duckdb.DuckDBPyConnection,
    paths: Sequence[Path],
    *,
    limit: date,
    table: str | None = None,
    dates: str | None = None,
    say: Callable[[str], None] = _silent,
) -> IngestReport:
    """Take the files at `paths` into the store; no past day may lie after `limit`.

    `table` names the table where the columns do not; `dates` (dmy or mdy) declares how 3/4/19 is meant; `say` is
    told what a person should know of how each file was read. Raises UsageError for files that are missing or of
    no known kind, UnusableDataError for files that cannot be used; then nothing is stored.
    """
    rules = _rules(limit, table, dates)
    files = places.files_meant(paths)
    con.begin()
    try:
        report = _taken_in(con, files, rules, say)
    except BaseException:
        con.rollback()
        raise
    con.commit()
    return report


def _rules(limit: date, table: str | None, dates: str | None) -> Rules:
    if table is not None and table not in INPUT_BY_NAME:
        known = ", ".join(INPUT_BY_NAME)
        raise UsageError(f"unknown table {table}", where="--table", remedy=f"known tables: {known}")
    if dates not in (None, "dmy", "mdy"):
        raise UsageError(f"unknown order of dates {dates}", where="--dates", remedy="say dmy or mdy")
    return Rules(limit, dates, table)


def _taken_in(
    con: duckdb.DuckDBPyConnection, files: Sequence[Path], rules: Rules, say: Callable[[str], None]
) -> IngestReport:
    make_tables(con)
    pointing.begin(con)
    parts = _opened(con, files, rules)
    fresh, skipped = _not_yet_held(con, parts)
    for name in skipped:
        say(f"{name}: already in the store, nothing added")
    reports = tuple(_loaded(con, part, rules, say) for part in fresh)
    _refuse_unless_needed(con)
    return IngestReport(reports, skipped)


def _opened(con: duckdb.DuckDBPyConnection, files: Sequence[Path], rules: Rules) -> list[Part]:
    """Open all files before any is stored; boats come first, so that later tables can be checked against them."""
    taken = [name for (name,) in con.execute("SELECT DISTINCT file FROM files ORDER BY file").fetchall()]
    parts: list[Part] = []
    for path, shown in places.names_of(files, taken).items():
        ending = path.suffix.lower()
        if ending in places.BOOK_ENDINGS:
            parts += opened_workbook(path, shown=shown, rules=rules)
        elif ending in places.PARQUET_ENDINGS:
            parts.append(opened_parquet(path, shown=shown, rules=rules))
        else:
            parts.append(opened_text(path, shown=shown, rules=rules))
    return sorted(parts, key=lambda part: INPUTS.index(part.header.table))


def _not_yet_held(con: duckdb.DuckDBPyConnection, parts: list[Part]) -> tuple[list[Part], tuple[str, ...]]:
    """Return the parts that are new, and the names of those whose bytes are in the store or stand twice in the call."""
    held = set(con.execute('SELECT sha256, "table", part FROM files').fetchall())
    fresh: list[Part] = []
    skipped: list[str] = []
    for part in parts:
        mark = (part.sha256, part.header.table.name, part.part)
        if mark in held:
            skipped.append(part.path.name if part.part == "-" else f"{part.path.name} [{part.part}]")
        else:
            fresh.append(part)
        held.add(mark)
    return fresh, tuple(skipped)


def _loaded(con: duckdb.DuckDBPyConnection, part: Part, rules: Rules, say: Callable[[str], None]) -> FileReport:
    for note in part.notes:
        say(note)
    file_id = _next_file_id(con)
    header = part.header
    rows_read, broken = stage(con, part, rules=rules)
    if rows_read == 0:
        raise headers.nothing_in(part.shown)
    odd = read_odd_cells(con, header, rules=rules)
    find_faults(con, header, broken, odd=odd)
    find_repeats(con, header.table, file_id=file_id, file=part.shown)
    pointing.remember(con, header.table, file=part.shown)
    unread = store_cells_unread(con, part, odd)
    used = store_rows(con, header.table, file_id)
    aside = store_set_aside(con, part)
    report = FileReport(part.file, part.part, header.table.name, part.encoding, rows_read, used, aside, unread)
    _refuse_unless_reconciled(con, report)
    _note_file(con, file_id, part, report)
    return report


def _next_file_id(con: duckdb.DuckDBPyConnection) -> int:
    (number,) = one_row(con, "SELECT coalesce(max(file_id), 0) + 1 FROM files")
    return int(number)


def _note_file(con: duckdb.DuckDBPyConnection, file_id: int, part: Part, report: FileReport) -> None:
    con.execute(
        "INSERT INTO files VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        [
            file_id,
            report.file,
            report.part,
            report.table,
            part.sha256,
            report.encoding,
            report.rows_read,
            report.rows_used,
            report.rows_set_aside,
            report.cells_unread,
        ],
    )


def _refuse_unless_reconciled(con: duckdb.DuckDBPyConnection, report: FileReport) -> None:
    """Rows found by counting must be the rows used and set aside; anything else is a fault of ours."""
    shown = report.file if report.part == "-" else f"{report.file} [{report.part}]"
    (aside,) = one_row(
        con,
        'SELECT count(*) FROM set_aside WHERE file = $file AND "table" = $table',
        {"file": shown, "table": report.table},
    )
    if report.rows_read != report.rows_used + aside or aside != report.rows_set_aside:
        raise BobstayError(
            f"{report.rows_read} rows were found, but {report.rows_used} used and {aside} set aside",
            where=shown,
            remedy="nothing was stored; if the file did not change while it was read, please report this",
        )


def _refuse_unless_needed(con: duckdb.DuckDBPyConnection) -> None:
    """Refuse a store without a usable boat, fitting or look, with the commonest reason rows were set aside."""
    empty = [name for name in NEEDED if one_row(con, f"SELECT count(*) FROM {name}") == (0,)]
    if not empty:
        return
    common = con.execute(
        "SELECT reason, count(*), min(file), arg_min(line, (file, line)), arg_min(hint, (file, line)) FROM set_aside "
        'WHERE list_contains($tables, "table") GROUP BY reason ORDER BY count(*) DESC, reason LIMIT 1',
        {"tables": empty},
    ).fetchall()
    what = f"there is no usable row of {', '.join(empty)}"
    if not common:
        raise UnusableDataError(what, where="the files given", remedy=f"give a file of {empty[0]} as well")
    reason, count, file, line, hint = common[0]
    raise UnusableDataError(
        f"{what}; commonest reason: {reason} ({count} rows)", where=f"{file}, line {line}", remedy=hint or "correct it"
    )
