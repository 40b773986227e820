"""Records of a mapping: one sender, the parts of the sender's files, and a part's fittings that stand as columns."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from typing import Literal

from bobstay.tables import InputTable
from bobstay.vocabulary import Vocabulary, normalised

Shape = Literal["rows", "wide", "boat"]


def plain_heading(text: str) -> str:
    """Return the form in which a sender's headings are compared: without regard to case and white space."""
    return " ".join(text.strip().strip("\ufeff").casefold().split())


@dataclass(frozen=True, slots=True)
class Wide:
    """Fittings as columns: each filled cell is a row of its own, `heading` says whose and `cell` what it says."""

    heading: str
    cell: str
    columns: Mapping[str, str]  # their heading -> what it stands for in the column `heading`


@dataclass(frozen=True, slots=True)
class PartRule:
    """How one table is read from a file, or from the sheets whose name fits the pattern `sheet`."""

    table: InputTable
    columns: Mapping[str, tuple[str, ...]]  # their heading -> our columns
    sheet: str | None = None
    header: int | None = None  # the line or row of the header; None: where most of their headings stand
    header_rows: int = 1
    shape: Shape = "rows"
    until: re.Pattern[str] | None = None
    skip: tuple[re.Pattern[str], ...] = ()
    fill_down: tuple[str, ...] = ()
    each_once: bool = False
    joined: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # our column -> their headings
    constants: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    wide: Wide | None = None

    def is_for_sheet(self, name: str) -> bool:
        """Say whether the part is read from the sheet of this name (a text file's is -)."""
        return self.sheet is None or fnmatchcase(name.casefold(), self.sheet.casefold())

    @property
    def headings(self) -> tuple[str, ...]:
        """All of their headings that the part speaks of."""
        wide = self.wide.columns if self.wide else ()
        joined = (name for names in self.joined.values() for name in names)
        return tuple(dict.fromkeys([*self.columns, *joined, *self.fill_down, *wide]))


@dataclass(frozen=True, slots=True)
class SenderMapping:
    """How the files of one sender are read; `words` holds what is put in place of a cell, by column and plain form."""

    source: str
    sha256: str
    files: tuple[str, ...]
    parts: tuple[PartRule, ...]
    vocabulary: Vocabulary
    dates: str | None = None
    decimal: str = "."
    delimiter: str | None = None
    empty: frozenset[str] = frozenset()
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def is_for_file(self, name: str) -> bool:
        """Say whether the mapping is for the file of this name."""
        return any(fnmatchcase(name.casefold(), pattern.casefold()) for pattern in self.files)

    def replaced(self, column: str, text: str) -> str | None:
        """Return what stands for `text` in our `column`: itself where the mapping says nothing of it, None: empty."""
        if plain_heading(text) in self.empty:
            return None
        return self.words.get(column, {}).get(normalised(text) or text, text)
