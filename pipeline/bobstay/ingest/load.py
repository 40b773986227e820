"""Takes files into the store, all in one transaction: either every file goes in, or nothing does."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING

from bobstay.errors import BobstayError, UnusableDataError, UsageError
from bobstay.ingest import headers, places, pointing
from bobstay.ingest.aliases import read_by_alias
from bobstay.ingest.answers import as_looks
from bobstay.ingest.changes import hold_back, supersede
from bobstay.ingest.checks import find_faults
from bobstay.ingest.mapped import opened_mapped
from bobstay.ingest.matching import match_stored
from bobstay.ingest.parquet import opened_parquet
from bobstay.ingest.preflight import stamp_of
from bobstay.ingest.reading import read_odd_cells
from bobstay.ingest.record import FileReport, IngestReport, Part, Rules
from bobstay.ingest.repeats import find_repeats
from bobstay.ingest.staging import named, one_row, stage
from bobstay.ingest.storing import make_tables, store_cells_unread, store_rows, store_set_aside
from bobstay.ingest.text import opened_text
from bobstay.ingest.waiting import now_known, use_waiting
from bobstay.ingest.word_classes import merge_words
from bobstay.ingest.workbook import opened_workbook
from bobstay.store import at_once
from bobstay.tables import ALIASES, ANSWERS, BOATS, INPUT_BY_NAME, INPUTS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date
    from pathlib import Path

    import duckdb

    from bobstay.ingest.record import Confirmation
    from bobstay.mapping import SenderMapping
    from bobstay.tables import InputColumn

# Boats come first and their other names next, so that later tables can be checked against them.
_ORDER = (BOATS, ALIASES, *(table for table in INPUTS if table not in (BOATS, ALIASES)))
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
    mappings: Sequence[SenderMapping] = (),
    confirmed: Confirmation | None = None,
    needed: Sequence[str] = NEEDED,
    say: Callable[[str], None] = _silent,
) -> IngestReport:
    """Take the files at `paths` into the store; no past day may lie after `limit`.

    `table` names the table where the columns do not; `dates` (dmy or mdy) declares how 3/4/19 is meant; `mappings`
    say how the files they are for are read; `confirmed` says who answers for changes that weaken an indication; the
    store must end with a row in each table `needed`, and of NEEDED in each that a file was for; `say` is told what
    a person should know of how each file was read. Raises UsageError for files that are missing or of no known kind,
    UnusableDataError for files that cannot be used; then nothing is stored.
    """
    rules = replace(_rules(limit, table, dates), confirmed=confirmed)
    files = _by_mapping(places.files_meant(paths), mappings)
    stamps = {path: stamp_of(path) for path in files}
    with at_once(con):
        report = _taken_in(con, files, rules, say)
        _refuse_changed(stamps)
        _refuse_unless_needed(con, {*needed, *(f.table for f in report.files if f.table in NEEDED)})
    return report


def _rules(limit: date, table: str | None, dates: str | None) -> Rules:
    if table is not None and table not in INPUT_BY_NAME:
        known = ", ".join(INPUT_BY_NAME)
        raise UsageError(f"unknown table {table}", where="--table", remedy=f"known tables: {known}")
    if dates not in (None, "dmy", "mdy"):
        raise UsageError(f"unknown order of dates {dates}", where="--dates", remedy="say dmy or mdy")
    return Rules(limit, dates, table)


def _by_mapping(files: Sequence[Path], mappings: Sequence[SenderMapping]) -> dict[Path, SenderMapping | None]:
    """Return the mapping each file is read by, None for those that no mapping is for; raises UsageError."""
    found: dict[Path, SenderMapping | None] = {}
    for file in files:
        fit = [mapping for mapping in mappings if mapping.is_for_file(file.name)]
        if len(fit) > 1:
            both = ", ".join(mapping.source for mapping in fit)
            raise UsageError(f"more than one mapping is for {file.name}", where=both, remedy="narrow `files` in one")
        found[file] = fit[0] if fit else None
    idle = [mapping for mapping in mappings if mapping not in found.values()]
    if idle:
        where = f"{idle[0].source}, key files, value {list(idle[0].files)}"
        raise UsageError(
            "the mapping is for none of the files", where=where, remedy="correct `files`; * stands for any letters"
        )
    return found


def _taken_in(
    con: duckdb.DuckDBPyConnection, files: dict[Path, SenderMapping | None], rules: Rules, say: Callable[[str], None]
) -> IngestReport:
    make_tables(con)
    pointing.begin(con)
    parts = _opened(con, files, rules)
    fresh, held = _not_yet_held(con, parts)
    used_now = [part for part in held if use_waiting(con, part, rules=rules, say=say)]
    skipped = tuple(_name(part) for part in held if part not in used_now)
    for part in used_now:
        say(f"{_name(part)}: rows that waited are used now")
    for name in skipped:
        say(f"{name}: already in the store, nothing added")
    reports = tuple(_loaded(con, part, rules, say) for part in fresh)
    merge_words(con)
    worksheets = tuple(part.shown for part in (*fresh, *used_now) if part.is_worksheet)
    return IngestReport(reports, skipped, tuple(map(_name, used_now)), worksheets, now_known(con))


def _name(part: Part) -> str:
    return part.path.name if part.part == "-" else f"{part.path.name} [{part.part}]"


def _opened(con: duckdb.DuckDBPyConnection, files: dict[Path, SenderMapping | None], rules: Rules) -> list[Part]:
    """Open all files before any is stored."""
    taken = [name for (name,) in con.execute("SELECT DISTINCT file FROM files ORDER BY file").fetchall()]
    parts: list[Part] = []
    for path, shown in places.names_of(list(files), taken).items():
        ending = path.suffix.lower()
        if (mapping := files[path]) is not None:
            parts += opened_mapped(path, shown=shown, rules=rules, mapping=mapping)
        elif ending in places.BOOK_ENDINGS:
            parts += opened_workbook(path, shown=shown, rules=rules)
        elif ending in places.PARQUET_ENDINGS:
            parts.append(opened_parquet(path, shown=shown, rules=rules))
        else:
            parts.append(opened_text(path, shown=shown, rules=rules))
    parts = [as_looks(con, part) if part.header.table is ANSWERS else part for part in parts]
    return sorted(parts, key=lambda part: _ORDER.index(part.header.table))


def _not_yet_held(con: duckdb.DuckDBPyConnection, parts: list[Part]) -> tuple[list[Part], list[Part]]:
    """Return the parts that are new, and those whose bytes are in the store or stand twice in the call."""
    seen = set(con.execute('SELECT sha256, "table", part FROM files').fetchall())
    _refuse_other_mappings(con, parts)
    fresh: list[Part] = []
    held: list[Part] = []
    for part in parts:
        mark = (part.sha256, part.header.table.name, part.part)
        (held if mark in seen else fresh).append(part)
        seen.add(mark)
    return fresh, held


def _refuse_other_mappings(con: duckdb.DuckDBPyConnection, parts: list[Part]) -> None:
    """Refuse a file that the store holds already, read in another way: it must not stand there twice."""
    held = dict(con.execute("SELECT sha256, any_value(coalesce(mapping, '-')) FROM files GROUP BY sha256").fetchall())
    for part in parts:
        if held.get(part.sha256, part.mapping or "-") != (part.mapping or "-"):
            raise UsageError(
                "the file is in the store already, read by another mapping",
                where=part.path.name,
                remedy="take the files into a new store with --store: nothing is read twice",
            )


def _loaded(con: duckdb.DuckDBPyConnection, part: Part, rules: Rules, say: Callable[[str], None]) -> FileReport:
    rules = part.rules or rules
    for note in part.notes:
        say(note)
    file_id = _next_file_id(con)
    rows_read, broken = stage(con, part, rules=rules)
    if rows_read == 0:
        raise headers.nothing_in(part.shown)
    odd = read_odd_cells(con, part.header, rules=rules)
    renamed = read_by_alias(con, part.header.table, shown=part.shown, say=say)
    find_faults(con, part.header, broken, odd=odd)
    find_repeats(con, part.header.table, file=part.shown, rows=rows_read)
    stored = _stored(con, part, odd, file_id, rules)
    report = replace(stored, rows_read=rows_read, rows_renamed=renamed)
    _refuse_unless_reconciled(con, report)
    _note_file(con, file_id, part, report)
    return report


def _stored(
    con: duckdb.DuckDBPyConnection, part: Part, odd: list[InputColumn], file_id: int, rules: Rules
) -> FileReport:
    """Put the rows of the part where they belong and return what became of them (how many were read is not known)."""
    table = part.header.table
    if matched := match_stored(con, part.header):
        hold_back(con, part, confirmed=rules.confirmed)
    pointing.remember(con, table, file=part.shown)
    unread = store_cells_unread(con, part, odd)
    known, newer = supersede(con, part, file_id=file_id, confirmed=rules.confirmed) if matched else (0, 0)
    used = known + newer + store_rows(con, table, file_id, matched=matched)
    aside = store_set_aside(con, part)
    return FileReport(part.file, part.part, table.name, part.encoding, 0, used, aside, unread, known, newer)


def _next_file_id(con: duckdb.DuckDBPyConnection) -> int:
    (number,) = one_row(con, "SELECT coalesce(max(file_id), 0) + 1 FROM files")
    return int(number)


def _note_file(con: duckdb.DuckDBPyConnection, file_id: int, part: Part, report: FileReport) -> None:
    noted = {"file_id": file_id, "sha256": part.sha256, "mapping": part.mapping, **asdict(report)}
    columns = ", ".join(named(name) for name in noted)
    con.execute(f"INSERT INTO files ({columns}) VALUES ({', '.join(f'${name}' for name in noted)})", noted)


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


def _refuse_changed(stamps: dict[Path, tuple[int, int]]) -> None:
    """Files are read more than once: one written to meanwhile may have given some old rows and some new ones."""
    for path, stamp in stamps.items():
        if stamp_of(path) != stamp:
            raise UnusableDataError(
                "the file was written to while it was read",
                where=path.name,
                remedy="nothing was stored; give it again when nobody writes to it",
            )


def _refuse_unless_needed(con: duckdb.DuckDBPyConnection, needed: set[str]) -> None:
    """Refuse a store without a usable row in each table `needed`, with the commonest reason rows were set aside."""
    ordered = [table.name for table in _ORDER if table.name in needed]
    empty = [name for name in ordered if one_row(con, f"SELECT count(*) FROM {name}") == (0,)]
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
