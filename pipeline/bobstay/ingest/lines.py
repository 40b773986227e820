"""The exact reader of delimited text: physical lines of any encoding, taken apart into rows, each fault named."""

from __future__ import annotations

import codecs
import csv
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay.ingest.record import Record

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    import numpy.typing as npt

    Numbers = npt.NDArray[np.int64]

BLOCK = 4 << 20  # bytes read at a time
LINE_LIMIT = 16 << 20  # a longer line is set aside unread: it would not be a row of records, and memory is bounded
ROW_LINES = 1000  # a quoted cell that goes on for more lines was never closed
_NEWLINE = 10
HEAD = 1000  # characters kept of a line that is too long

csv.field_size_limit(LINE_LIMIT)  # the default of 128 KB would refuse long notes


@dataclass(frozen=True, slots=True)
class Line:
    """One physical line without its end, numbered from 1; `is_whole` is false where it was too long to keep."""

    number: int
    content: bytes
    is_whole: bool = True


def blocks(path: Path, encoding: str, *, bare_returns: bool = False) -> Iterator[bytes]:
    """Yield the file's bytes without byte order mark, UTF-16 turned into UTF-8; raises UnicodeDecodeError."""
    wide = codecs.getincrementaldecoder(encoding)() if encoding.startswith("utf-16") else None
    with path.open("rb") as file:
        is_first = True
        while block := file.read(BLOCK):
            if wide:
                block = wide.decode(block).encode("utf-8")
            if is_first:
                block = block.removeprefix(codecs.BOM_UTF8)
            is_first = False
            yield block.replace(b"\r", b"\n") if bare_returns else block
        if wide:
            wide.decode(b"", final=True)


def lines(source: Iterable[bytes]) -> Iterator[Line]:
    """Yield the physical lines of `source`; of a line over LINE_LIMIT only the beginning is kept."""
    number, rest = 0, b""
    for block in source:
        *ended, tail = block.split(b"\n")
        for piece in ended:
            number += 1
            yield _line(number, rest + piece)
            rest = b""
        if len(rest) <= LINE_LIMIT:
            rest += tail
    if rest:
        yield _line(number + 1, rest)


def _line(number: int, content: bytes) -> Line:
    if len(content) > LINE_LIMIT:
        return Line(number, content[:HEAD], is_whole=False)
    return Line(number, content.removesuffix(b"\r"))


class _Ahead:
    """Lines that can be put back, so that an unclosed quote costs its own line and no other."""

    def __init__(self, source: Iterator[Line]) -> None:
        self.source = source
        self.back: deque[Line] = deque()

    def __iter__(self) -> Iterator[Line]:
        while (line := self.take()) is not None:
            yield line

    def take(self) -> Line | None:
        return self.back.popleft() if self.back else next(self.source, None)

    def until_closed(self, first: Line) -> list[Line]:
        """Take the lines after `first` up to the one that closes its quote; take none where none does."""
        taken: list[Line] = []
        size = len(first.content)
        while len(taken) < ROW_LINES and size <= LINE_LIMIT:
            line = self.take()
            if line is None:
                break
            taken.append(line)
            size += len(line.content)
            if not line.is_whole:
                break
            if line.content.count(b'"') % 2:
                return taken
        self.back.extendleft(reversed(taken))
        return []

    def put_back(self, taken: list[Line]) -> None:
        self.back.extendleft(reversed(taken))


def records(source: Iterator[Line], *, width: int, delimiter: str, after: int) -> Iterator[Record]:
    """Yield every row after line `after`; each has `width` cells, or a fault that says why it has not.

    Lines with nothing in them are no rows.
    """
    ahead = _Ahead(source)
    for line in ahead:
        if line.number > after and line.content:
            yield _record(line, ahead, width, delimiter)


def records_at(source: Iterable[bytes], wanted: Numbers, *, width: int, delimiter: str) -> Iterator[Record]:
    """Yield the rows on the `wanted` lines (ascending) of a file in which every line is one row."""
    for line in _lines_at(source, wanted):
        yield _record(line, _Ahead(iter(())), width, delimiter)


def _lines_at(source: Iterable[bytes], wanted: Numbers) -> Iterator[Line]:
    """Yield the `wanted` lines of `source` and pass over all others without taking them apart."""
    passed, rest = 0, b""
    for block in source:
        held = rest + block
        ends = np.flatnonzero(np.frombuffer(held, dtype=np.uint8) == _NEWLINE)
        for place in _within(wanted, passed, len(ends)):
            start = int(ends[place - 1]) + 1 if place else 0
            yield _line(passed + place + 1, held[start : int(ends[place])])
        rest = held[int(ends[-1]) + 1 :] if len(ends) else held
        passed += len(ends)
    if rest and passed + 1 in wanted:
        yield _line(passed + 1, rest)


def _within(wanted: Numbers, passed: int, count: int) -> list[int]:
    """Return which of the `count` lines after the first `passed` are wanted, counted from 0."""
    first, last = np.searchsorted(wanted, [passed + 1, passed + count + 1])
    found: list[int] = (wanted[first:last] - passed - 1).tolist()
    return found


def chosen(rows: Iterator[Record], wanted: Numbers) -> Iterator[Record]:
    """Yield those of `rows` that stand on the `wanted` lines."""
    lines_wanted = set(wanted.tolist())
    return (row for row in rows if row.line in lines_wanted)


def _record(line: Line, ahead: _Ahead, width: int, delimiter: str) -> Record:
    if not line.is_whole:
        return _faulty(line, f"the line is longer than {LINE_LIMIT >> 20} MB", "look for a quote that is never closed")
    text = decoded(line.content)
    if text is None:
        return _faulty(line, "bytes that are neither UTF-8 nor Windows-1252", "save the file as UTF-8")
    if "\0" in text:
        return _faulty(line, "a NUL byte stands in the row", "export the file again")
    return _taken_apart(line, text, ahead, width, delimiter)


def _taken_apart(line: Line, text: str, ahead: _Ahead, width: int, delimiter: str) -> Record:
    try:
        cells = split(text, delimiter)
    except csv.Error as fault:
        if "unexpected end" in str(fault):
            return _over_lines(line, text, ahead, width, delimiter)
        reason = "a line end inside the row" if "new-line" in str(fault) else "text goes on after a closing quote"
        return _faulty(line, reason, 'write a quote inside a quoted cell twice: ""')
    if len(cells) != width:
        hint = f"the header has {width} cells, the row {len(cells)}: quote cells that hold the delimiter"
        return Record(line.number, cells, "wrong number of cells", hint)
    return Record(line.number, cells)


def _over_lines(line: Line, text: str, ahead: _Ahead, width: int, delimiter: str) -> Record:
    taken = ahead.until_closed(line)
    more = [decoded(t.content) for t in taken]
    if taken and None not in more and "\0" not in "".join(map(str, more)):
        try:
            cells = split("\n".join([text, *map(str, more)]), delimiter)
        except csv.Error:
            cells = ()
        if len(cells) == width:
            return Record(line.number, cells)
    ahead.put_back(taken)
    return _faulty(line, "a quote is opened and never closed", "close the quote, or take it out")


def split(text: str, delimiter: str) -> tuple[str | None, ...]:
    """Return the cells of one row (None: empty); raises csv.Error."""
    reader = csv.reader([text], delimiter=delimiter, strict=True)
    return tuple(cell or None for cell in next(reader, []))


def decoded(content: bytes) -> str | None:
    """Return the text of `content`, UTF-8 or else Windows-1252; None where it is neither."""
    for encoding in ("utf-8", "cp1252"):
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    return None


def _faulty(line: Line, reason: str, hint: str) -> Record:
    return Record(line.number, ((decoded(line.content) or repr(line.content))[: 10 * HEAD],), reason, hint)
