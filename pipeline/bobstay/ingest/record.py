"""What the parts of ingest hand each other, and what ingest hands back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date
    from pathlib import Path

    from bobstay.tables import InputTable
    from bobstay.vocabulary import Vocabulary


@dataclass(frozen=True, slots=True)
class FileReport:
    """One file or sheet taken in; rows_read = rows_used + rows_set_aside, always."""

    file: str
    part: str
    table: str
    encoding: str
    rows_read: int
    rows_used: int
    rows_set_aside: int
    cells_unread: int
    rows_known: int = 0  # of the rows used, those that an earlier file had brought word for word
    rows_superseding: int = 0  # of the rows used, those that take the place of an earlier row
    rows_renamed: int = 0  # of all rows, those whose boat was called by another name


@dataclass(frozen=True, slots=True)
class IngestReport:
    """All files of one call; `skipped` names those that the store already held.

    `waiting`: files held already with the number of their rows set aside whose boat is known by now.
    """

    files: tuple[FileReport, ...]
    skipped: tuple[str, ...] = ()
    confirmed: tuple[str, ...] = ()  # files held already, of which waiting rows are used now
    worksheets: tuple[str, ...] = ()  # files and sheets that are worksheets come back
    waiting: tuple[tuple[str, int], ...] = ()

    @property
    def rows_read(self) -> int:
        """Rows found in all files of the call."""
        return sum(f.rows_read for f in self.files)

    @property
    def rows_set_aside(self) -> int:
        """Rows of all files of the call that are not used."""
        return sum(f.rows_set_aside for f in self.files)


@dataclass(frozen=True, slots=True)
class Header:
    """The header row: the names as written, and the canonical column each stands for (None: an extra column)."""

    line: int
    names: tuple[str, ...]
    columns: tuple[str | None, ...]
    table: InputTable

    def place(self, column: str) -> int | None:
        """Return where canonical column `column` stands in a row, counted from 0; None where the file lacks it."""
        return self.columns.index(column) if column in self.columns else None


@dataclass(frozen=True, slots=True)
class Record:
    """One row as it came: its line and its cells (None: empty); with a `fault` it could not be taken apart."""

    line: int
    cells: tuple[str | None, ...]
    fault: str | None = None
    hint: str | None = None


@dataclass(frozen=True, slots=True)
class Scan:
    """Rows that DuckDB reads by itself: a FROM clause whose columns are c0, c1, ..., and how many rows it must give.

    With `is_read_again` reading costs little: rows are not copied but read when they are asked for, by a clause
    without parameters that gives each one's `line` too.
    """

    relation: str
    parameters: dict[str, Any]
    row_count: int
    first_line: int
    is_read_again: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """One table's worth of rows: a whole file, or one sheet of a workbook.

    `records(lines)` reads the rows exactly, in Python: all of them, or with `lines` (ascending) only those.
    `scan` is the quick way to the same rows, where the file is clean enough to have one. `rules` and `mapping` (its
    SHA-256) are those of a mapping.
    """

    path: Path
    file: str
    part: str
    sha256: str
    encoding: str
    header: Header
    records: Callable[[Any], Iterator[Record]]
    scan: Scan | None = None
    notes: tuple[str, ...] = ()
    rules: Rules | None = None
    mapping: str | None = None
    is_worksheet: bool = False  # its rows are answers that came back, known by their codes

    @property
    def shown(self) -> str:
        """The name to show: the file's, with the sheet's where there is one."""
        return self.file if self.part == "-" else f"{self.file} [{self.part}]"


@dataclass(frozen=True, slots=True)
class Reading:
    """What one odd cell says: a `value` (text that casts to its type), a day's bounds, or why it cannot be read."""

    value: str | None = None
    earliest: date | None = None
    latest: date | None = None
    reason: str | None = None
    hint: str | None = None


@dataclass(frozen=True, slots=True)
class Confirmation:
    """Who answers for changes that weaken an indication, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Rules:
    """What the caller declared: no past day lies after `limit`; `dates` is dmy, mdy or None (not declared)."""

    limit: date
    dates: str | None = None
    table: str | None = None
    vocabulary: Vocabulary | None = None  # None: the shipped words
    proposes: bool = True  # whether hints say what an unknown word may mean
    confirmed: Confirmation | None = None  # who answers for changes that weaken an indication
