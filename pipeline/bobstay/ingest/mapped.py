"""Opens files by a mapping: each part of it becomes a part of the file, its cells said in the words of the tables."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import TYPE_CHECKING

from bobstay.errors import UnusableDataError
from bobstay.ingest.layout import Layout, layouts
from bobstay.ingest.mapped_rows import originals, passed, translated
from bobstay.ingest.record import Part, Rules
from bobstay.ingest.sheets import Sheet, opened_sheets
from bobstay.mapping import plain_heading

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import numpy as np

    from bobstay.ingest.headers import Row
    from bobstay.ingest.record import Record
    from bobstay.mapping import PartRule, SenderMapping

SEARCHED_ROWS = 40  # within them the header must begin, where the mapping does not say its line


@dataclass(frozen=True, slots=True)
class _Source:
    """One file, and what it is read by."""

    path: Path
    shown: str
    rules: Rules
    mapping: SenderMapping


def opened_mapped(path: Path, *, shown: str, rules: Rules, mapping: SenderMapping) -> list[Part]:
    """Return a part for each part of the mapping and sheet it is for; raises UnusableDataError.

    Sheets and rows that no part of the mapping speaks of are named in the notes.
    """
    sheets = opened_sheets(path, shown=shown, delimiter=mapping.delimiter)
    own = replace(rules, dates=mapping.dates or rules.dates, vocabulary=mapping.vocabulary)
    source = _Source(path, shown, own, mapping)
    parts: list[Part] = []
    used: set[str] = set()
    for number, rule in enumerate(mapping.parts, start=1):
        faults: list[UnusableDataError] = []
        made = {s.name: _of_sheet(s, rule, source, faults) for s in sheets if rule.is_for_sheet(s.name)}
        if not any(made.values()):
            raise _unread(faults, mapping, number, shown, [s.name for s in sheets])
        parts += (part for found in made.values() for part in found)
        used |= {name for name, found in made.items() if found}
    idle = [
        f"{shown}: sheet {s.name} is not used: no part of the mapping fits it" for s in sheets if s.name not in used
    ]
    return [replace(part, notes=(*part.notes, *(idle if n == 0 else ()))) for n, part in enumerate(_told_apart(parts))]


def _unread(
    faults: list[UnusableDataError], mapping: SenderMapping, number: int, shown: str, sheets: list[str]
) -> UnusableDataError:
    if faults:
        return faults[0]
    return UnusableDataError(
        f"part {number} of {mapping.source} is for sheet {mapping.parts[number - 1].sheet}, which is not there",
        where=f"{shown}, sheets: {', '.join(sheets)}",
        remedy="correct `sheet` in the mapping; * stands for any letters",
    )


def _told_apart(parts: list[Part]) -> Iterator[Part]:
    """Number the parts that read the same table from the same sheet, so that each is remembered by itself."""
    seen: dict[tuple[str, str], int] = {}
    for part in parts:
        key = (part.part, part.header.table.name)
        seen[key] = seen.get(key, 0) + 1
        yield part if seen[key] == 1 else replace(part, part=f"{part.part} #{seen[key]}")


def _of_sheet(sheet: Sheet, rule: PartRule, source: _Source, faults: list[UnusableDataError]) -> list[Part]:
    """Return the sheet's parts, more than one where fittings stand as columns; a fault is added to `faults`."""
    where = source.shown if sheet.name == "-" else f"{source.shown} [{sheet.name}]"
    try:
        line, names = _header(sheet, rule, where)
        _refuse_unless_there(rule, names, where, line)
    except UnusableDataError as fault:
        faults.append(fault)
        return []
    filled = {"sheet": sheet.name, "file": PurePath(source.shown).stem}
    found = list(layouts(rule, names, line + rule.header_rows - 1, filled))
    notes = _notes(sheet, found[0], where, source.mapping)
    made = [(layout, _part(sheet, layout, source)) for layout in found]
    if len(made) > 1:
        bare = [layout.names[layout.wide.place] for layout, part in made if layout.wide and _is_bare(part)]
        notes += (f"{where}: fittings of which no cell is filled in: {', '.join(bare)}",) if bare else ()
        made = [pair for pair in made if not _is_bare(pair[1])] or made[:1]
    return [replace(part, notes=notes if n == 0 else ()) for n, (_, part) in enumerate(made)]


def _is_bare(part: Part) -> bool:
    return next(part.records(None), None) is None


def _part(sheet: Sheet, layout: Layout, source: _Source) -> Part:
    def read(wanted: np.ndarray | None = None) -> Iterator[Record]:
        rows = sheet.rows(len(layout.names), layout.header.line)
        if wanted is None:
            return translated(rows, layout, source.mapping)
        return originals(rows, layout, set(wanted.tolist()))

    name = sheet.name
    if layout.wide:
        column = layout.names[layout.wide.place]
        name = column if name == "-" else f"{name}: {column}"
    return Part(
        source.path,
        source.shown,
        name,
        sheet.sha256,
        sheet.encoding,
        layout.header,
        read,
        rules=source.rules,
        mapping=source.mapping.sha256,
    )


def _header(sheet: Sheet, rule: PartRule, where: str) -> tuple[int, tuple[str, ...]]:
    """Return the line of the header and its names, each unlike the others; of two header rows both names."""
    wanted = {plain_heading(name) for name in rule.headings}

    def score(line: int) -> int:
        return sum(plain_heading(name) in wanted for name in _names(sheet, line, rule.header_rows))

    lines = [rule.header] if rule.header else [line for line, _ in sheet.head if line <= SEARCHED_ROWS]
    if not lines:
        raise UnusableDataError("there is nothing in it", where=where, remedy="give a file with a header and rows")
    line = max(lines, key=lambda line: (score(line), -line))
    return line, _names(sheet, line, rule.header_rows)


def _names(sheet: Sheet, line: int, count: int) -> tuple[str, ...]:
    rows: list[Row] = [row for row in sheet.head if line <= row[0] < line + count]
    return headings([cells for _, cells in rows])


def headings(rows: list[tuple[str, ...]]) -> tuple[str, ...]:
    """Return a name for each column from the header's rows; a name above goes on to the right (a merged cell)."""
    width = max((n for cells in rows for n, cell in enumerate(cells, start=1) if cell.strip()), default=0)
    joined: list[list[str]] = [[] for _ in range(width)]
    for depth, cells in enumerate(rows):
        above = ""
        for place in range(width):
            cell = " ".join(cells[place].strip("\ufeff").split()) if place < len(cells) else ""
            above = cell or (above if depth < len(rows) - 1 else "")
            joined[place] += [above] if above and above not in joined[place] else []
    return _unlike([" / ".join(names) or f"column_{place}" for place, names in enumerate(joined, start=1)])


def _unlike(names: list[str]) -> tuple[str, ...]:
    """Number the second and later of equal names: Remarks, Remarks (2)."""
    seen: dict[str, int] = {}
    found = []
    for name in names:
        key = plain_heading(name)
        seen[key] = seen.get(key, 0) + 1
        found.append(name if seen[key] == 1 else f"{name} ({seen[key]})")
    return tuple(found)


def _refuse_unless_there(rule: PartRule, names: tuple[str, ...], where: str, line: int) -> None:
    have = {plain_heading(name): name for name in names}
    missing = [name for name in rule.headings if plain_heading(name) not in have]
    if not missing:
        return
    near = difflib.get_close_matches(plain_heading(missing[0]), list(have), n=1)
    guess = f"did you mean {have[near[0]]}? " if near else ""
    raise UnusableDataError(
        f"columns that the mapping names are not there: {', '.join(missing)}",
        where=f"{where}, line {line}, columns: {', '.join(names)[:500]}",
        remedy=f"{guess}correct the mapping, or say the header's line with `header`",
    )


def _notes(sheet: Sheet, layout: Layout, where: str, mapping: SenderMapping) -> tuple[str, ...]:
    notes = [f"{where}: read by {mapping.source} as {layout.header.table.name}"]
    first = layout.header.line - layout.rule.header_rows + 1
    if first > 1:
        notes.append(f"{where}: the header is line {first}; the lines above it are not used")
    over = passed(sheet.rows(len(layout.names), layout.header.line), layout, mapping)
    if over.blank:
        notes.append(f"{where}: not counted as rows, nothing stands in them: {over.blank}")
    if over.beyond:
        notes.append(f"{where}: rows from the one on that ends this part, not read by it: {over.beyond}")
    if over.again:
        table = layout.header.table.name
        notes.append(f"{where}: rows that say of {table} what earlier ones say, counted once: {over.again}")
    return tuple(notes)
