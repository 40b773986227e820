"""What a text file is like, found by looking at all its bytes once: enough to decide which reader may read it."""

from __future__ import annotations

import codecs
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import numpy.typing as npt

    Codes = npt.NDArray[np.uint8]
    Places = npt.NDArray[np.int64]

BLOCK = 8 << 20
_NO_TEXT = frozenset(map(chr, range(0xDC80, 0xDD00)))  # bytes of a file name that are none of UTF-8's (PEP 383)
QUICK_LINE = 1 << 20  # DuckDB loses longer lines without a word (its limit is 2 MB)
_NEWLINE, _RETURN, _QUOTE = 10, 13, 34


@dataclass(frozen=True, slots=True)
class Facts:
    """`is_plain`: UTF-8, and each line from the header on is one row of the right width, its quoting well formed."""

    sha256: str
    encoding: str
    line_count: int
    is_plain: bool
    bare_returns: bool


def encoding_of(head: bytes) -> str:
    """Return utf-8, utf-8-sig or utf-16 by the first bytes of a file (UTF-16: a NUL in every other byte)."""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if head.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    sample = head[:2000]
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd * 3 > len(sample) and even * 4 < odd:
        return "utf-16-le"
    return "utf-16-be" if even * 3 > len(sample) and odd * 4 < even else "utf-8"


def looked_at(path: Path, delimiter: str, *, width: int, after: int) -> Facts:
    """Return the facts of the file at `path`, whose rows stand after line `after` and should have `width` cells."""
    look = _Look(delimiter, width, after)
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            look.add(block)
    return look.facts()


class _Look:
    """Gathers the facts; `tail` is the beginning of a line that the next block goes on with."""

    def __init__(self, delimiter: str, width: int, after: int) -> None:
        self.delimiter = ord(delimiter)
        self.width = width
        self.after = after
        self.separators = np.zeros(256, dtype=bool)
        self.separators[[self.delimiter, _NEWLINE, _RETURN]] = True
        self.sha = hashlib.sha256()
        self.decoder = codecs.getincrementaldecoder("utf-8")()
        self.encoding = ""
        self.tail = b""
        self.line_count = 0
        self.is_plain = self.is_utf8 = True
        self.has_newline = self.has_return = self.ends_in_return = False

    def add(self, block: bytes) -> None:
        self.sha.update(block)
        self.encoding = self.encoding or encoding_of(block)
        self.has_return |= b"\r" in block
        self.has_newline |= b"\n" in block
        self.check_utf8(block)
        if self.is_plain:
            self.check_lines(block if self.line_count or self.tail else block.removeprefix(codecs.BOM_UTF8))

    def check_utf8(self, block: bytes, *, final: bool = False) -> None:
        if not self.is_utf8 or (block.isascii() and not final and not self.decoder.getstate()[0]):
            return
        try:
            self.decoder.decode(block, final=final)
        except UnicodeDecodeError:
            self.is_utf8 = False

    def check_lines(self, block: bytes) -> None:
        cut = block.rfind(b"\n") + 1
        whole = self.tail + block[:cut] if cut else b""
        self.tail = block[cut:] if cut else self.tail + block
        if len(self.tail) > QUICK_LINE or b"\0" in block:
            self.is_plain = False
        elif whole:
            self.check_whole(whole)

    def check_whole(self, whole: bytes, *, is_last: bool = False) -> None:
        """Check bytes that end with a newline."""
        codes = np.frombuffer(whole, dtype=np.uint8)
        ends = np.flatnonzero(codes == _NEWLINE)
        lengths = np.diff(ends, prepend=-1) - 1
        returns = np.flatnonzero(codes == _RETURN) if b"\r" in whole else np.empty(0, dtype=np.int64)
        is_blank = bool((lengths < 1).any()) or (len(returns) > 0 and (whole.startswith(b"\r\n") or b"\n\r\n" in whole))
        is_bare = bool((codes[returns + 1] != _NEWLINE).any())
        # DuckDB stops at lines that end in two ways within one file; the last line may do without an end
        is_mixed = len(returns) not in (0, len(ends)) or (
            self.line_count > 0 and bool(len(returns)) != self.ends_in_return
        )
        self.ends_in_return = bool(len(returns))
        self.is_plain = (
            not (is_blank or is_bare or (is_mixed and not is_last))
            and lengths.max() <= QUICK_LINE
            and self.is_rows(codes, ends)
        )
        self.line_count += len(ends)

    def is_rows(self, codes: Codes, ends: Places) -> bool:
        """Say whether the quoting is well formed and each line after the header has the header's number of cells.

        DuckDB drops empty cells beyond the last column without a word; after an unquoted decimal comma that would
        move every later cell by one.
        """
        runs = self.quoted_runs(codes, ends)
        if runs is None:
            return False
        starts, opened = runs
        places = np.flatnonzero(codes == self.delimiter)
        if len(starts):
            places = _outside(starts, opened, places)
        before = min(max(self.after - self.line_count, 0), len(ends))
        return self.is_level(places, ends, before)

    def is_level(self, places: Places, ends: Places, before: int) -> bool:
        """Say whether each line after the first `before` has `width` cells, its delimiters being among `places`."""
        if before:
            places = places[np.searchsorted(places, ends[before - 1]) :]
        stops = ends[before:]
        each = self.width - 1
        if len(places) != len(stops) * each:
            return False
        if not each or not len(stops):
            return True
        rows = places.reshape(-1, each)  # of a file of rows of one width a line's delimiters make a row of this
        return bool((rows[:, -1] < stops).all() and (rows[1:, 0] > stops[:-1]).all())

    def quoted_runs(self, codes: Codes, ends: Places) -> tuple[Places, Places] | None:
        """Return where runs of quotes start and how many cells were opened or closed up to each; None if ill formed.

        Outside a quoted cell an odd run must follow a separator, an even one must also be followed by one; inside,
        an odd run must be followed by a separator; no cell may be open at a line end. (RFC 4180, section 2.)
        """
        places = np.flatnonzero(codes == _QUOTE)
        if not len(places):
            return places, places
        is_first = np.diff(places, prepend=-2) != 1
        starts, stops = places[is_first], places[np.append(is_first[1:], True)]
        is_odd = (stops - starts) % 2 == 0
        opened = np.cumsum(is_odd)
        is_inside = (opened - is_odd) % 2 == 1
        after_separator = (starts == 0) | self.separators[codes[starts - 1]]
        before_separator = self.separators[codes[stops + 1]]
        fits = np.where(is_inside, ~is_odd | before_separator, after_separator & (is_odd | before_separator))
        return (starts, opened) if fits.all() and not _is_open(starts, opened, ends).any() else None

    def facts(self) -> Facts:
        if self.tail and self.is_plain:
            self.check_whole(self.tail + b"\n", is_last=True)
        self.check_utf8(b"", final=True)
        encoding = self.encoding or "utf-8"
        if encoding == "utf-8" and not self.is_utf8:
            encoding = "cp1252"
        is_plain = self.is_plain and self.is_utf8 and not encoding.startswith("utf-16")
        bare = self.has_return and not self.has_newline and not encoding.startswith("utf-16")
        return Facts(self.sha.hexdigest(), encoding, self.line_count, is_plain, bare)


def _is_open(starts: Places, opened: Places, places: Places) -> npt.NDArray[np.bool_]:
    """Say of each place whether it lies inside a quoted cell."""
    before: Places = np.append(0, opened)[np.searchsorted(starts, places)]
    is_open: npt.NDArray[np.bool_] = before % 2 == 1
    return is_open


def _outside(starts: Places, opened: Places, places: Places) -> Places:
    """Return those of `places` (ascending) that lie in no quoted cell: looked up by cell, of which there are fewer."""
    turns = starts[np.diff(opened, prepend=0) == 1]  # a cell is opened and closed in turn
    first, beyond = np.searchsorted(places, turns[0::2]), np.searchsorted(places, turns[1::2])
    held = beyond - first
    steps = np.repeat(first - np.cumsum(held) + held, held)
    is_outside = np.ones(len(places), dtype=bool)
    is_outside[steps + np.arange(len(steps))] = False
    outside: Places = places[is_outside]
    return outside


def can_be_named(path: Path) -> bool:
    """Say whether the path, written into SQL, names just this file: it is text, and no pattern."""
    return all(c not in _NO_TEXT for c in str(path)) and not set("*?[]{}") & set(str(path))


def stamp_of(path: Path) -> tuple[int, int]:
    """Return what changes when the file does: its size in bytes, and when it was last written in nanoseconds."""
    found = path.stat()
    return found.st_size, found.st_mtime_ns


def whole_file_sha256(path: Path) -> str:
    """Return the SHA-256 of the file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def head_of(source: Iterator[bytes], size: int) -> bytes:
    """Return at least `size` bytes from the beginning of `source` (fewer where it ends)."""
    head = b""
    for block in source:
        head += block
        if len(head) >= size:
            break
    return head
