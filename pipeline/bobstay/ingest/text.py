"""Opens CSV, TSV and TXT files: the quick way where every byte allows it, else the exact one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.errors import UnusableDataError
from bobstay.ingest import headers, lines, preflight
from bobstay.ingest.record import Header, Part, Record, Rules, Scan

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    import numpy as np

    from bobstay.ingest.preflight import Facts

HEAD = 64 << 10


def opened_text(path: Path, *, shown: str, rules: Rules) -> Part:
    """Return the file's one part, its header found and every byte looked at; raises UnusableDataError."""
    try:
        return _opened(path, shown, rules)
    except UnicodeDecodeError as fault:
        raise UnusableDataError(
            f"the text cannot be read as {fault.encoding}",
            where=f"{shown}, byte {fault.start}",
            remedy="save the file as UTF-8",
        ) from fault


def _opened(path: Path, shown: str, rules: Rules) -> Part:
    head = head_lines(path)
    delimiter = headers.best_delimiter(head)
    header = headers.recognised(headers.rows_of(head, delimiter), shown=shown, table=rules.table)
    facts = preflight.looked_at(path, delimiter, width=len(header.names), after=header.line)
    return Part(
        path=path,
        file=shown,
        part="-",
        sha256=facts.sha256,
        encoding=facts.encoding,
        header=header,
        records=_reader(path, facts, header, delimiter),
        scan=_scan(path, facts, header, delimiter) if facts.is_plain else None,
        notes=_notes(shown, facts, header),
    )


def head_lines(path: Path, count: int = headers.SEARCHED_LINES) -> list[str]:
    """Return the first lines as text, whatever the encoding; a line cut off by the limit stays cut off."""
    with path.open("rb") as file:
        first = file.read(HEAD)
    encoding = preflight.encoding_of(first)
    has_bare_returns = b"\r" in first and b"\n" not in first
    whole = preflight.head_of(lines.blocks(path, encoding, bare_returns=has_bare_returns), HEAD)[: lines.LINE_LIMIT]
    found = whole.split(b"\n", count)[:count]
    return [(lines.decoded(line.removesuffix(b"\r")) or "").replace("\0", "") for line in found]


def _reader(path: Path, facts: Facts, header: Header, delimiter: str) -> Callable[[Any], Iterator[Record]]:
    width = len(header.names)

    def read(wanted: np.ndarray | None = None) -> Iterator[Record]:
        source = lines.blocks(path, facts.encoding, bare_returns=facts.bare_returns)
        if wanted is not None and facts.is_plain:
            return lines.records_at(source, wanted, width=width, delimiter=delimiter)
        rows = lines.records(lines.lines(source), width=width, delimiter=delimiter, after=header.line)
        return rows if wanted is None else lines.chosen(rows, wanted)

    return read


def _scan(path: Path, facts: Facts, header: Header, delimiter: str) -> Scan:
    columns = ", ".join(f"'c{place}': 'VARCHAR'" for place in range(len(header.names)))
    relation = (
        f"read_csv($path, auto_detect=false, columns={{{columns}}}, delim=$delimiter, quote='\"', escape='\"', "
        f"header=false, skip={header.line}, strict_mode=true, ignore_errors=true, "
        f"max_line_size={2 * preflight.QUICK_LINE})"
    )
    parameters = {"path": str(path), "delimiter": delimiter}
    return Scan(relation, parameters, facts.line_count - header.line, header.line + 1)


def _notes(shown: str, facts: Facts, header: Header) -> tuple[str, ...]:
    notes = []
    if header.line > 1:
        notes.append(f"{shown}: the header is line {header.line}; the lines above it are not used")
    if facts.encoding == "cp1252":
        notes.append(f"{shown}: not UTF-8 throughout; lines that are not are read as Windows-1252")
    elif facts.encoding.startswith("utf-16"):
        notes.append(f"{shown}: read as UTF-16")
    return tuple(notes)
