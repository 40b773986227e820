"""A sender's rows said in the words of the tables: carried down, joined, translated, cut to one fitting's cell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from bobstay.ingest.record import Record
from bobstay.mapping import as_number

if TYPE_CHECKING:
    from bobstay.ingest.layout import Layout
    from bobstay.mapping import SenderMapping

    Cells = tuple[str | None, ...]

SKIPPED = "the mapping says to skip such rows"
ADRIFT = "its group is not known: a row above, where it may begin, cannot be read"
SAYS_NOTHING = "no fitting's cell is filled in: the row says nothing of any part"


@dataclass(frozen=True, slots=True)
class Passed:
    """How many rows of a sheet are no rows of the part: empty ones, ones beyond its end, ones that say nothing new."""

    blank: int = 0
    beyond: int = 0
    again: int = 0


def translated(rows: Iterable[Record], layout: Layout, mapping: SenderMapping) -> Iterator[Record]:
    """Yield the rows as the part's header has them; of a wide sheet those whose cell of this fitting is filled in."""
    made = (row if row.fault else _row(row, layout, mapping) for row in _of_fitting(rows, layout, mapping))
    return _each_once(made, layout) if layout.rule.each_once else made


def originals(rows: Iterable[Record], layout: Layout, wanted: set[int]) -> Iterator[Record]:
    """Yield the rows on the `wanted` lines as they came, with what the mapping says of all rows beside them."""
    for row in rows:
        if row.line in wanted:
            is_broken = row.fault is not None and len(row.cells) != len(layout.names)
            added = (how if isinstance(how, str) else _added(row.cells, how) for how in layout.added)
            yield row if is_broken else Record(row.line, (*row.cells, *added))


def passed(rows: Iterable[Record], layout: Layout, mapping: SenderMapping) -> Passed:
    """Return how many rows are passed over, and why."""
    blank = beyond = 0
    kept = []
    for row in rows:
        if beyond or _ends(row, layout):
            beyond += any(map(_said, row.cells))
        elif row.fault is None and not any(map(_said, row.cells)):
            blank += 1
        elif layout.rule.each_once:
            kept.append(row)
    if not layout.rule.each_once:
        return Passed(blank, beyond)
    return Passed(blank, beyond, len(kept) - sum(1 for _ in translated(kept, layout, mapping)))


def _within(rows: Iterable[Record], layout: Layout) -> Iterator[Record]:
    """Yield the rows of the part that have anything in them, those to be skipped with a fault that says so."""
    for row in rows:
        if _ends(row, layout):
            return
        skipped = next((p.pattern for p in layout.rule.skip if p.search(_first(row))), None)
        if skipped is not None:
            yield replace(row, fault=SKIPPED, hint=f"the pattern is {skipped!r}; take it out to have them read")
        elif row.fault is not None or any(map(_said, row.cells)):
            yield row


def _said(cell: str | None) -> bool:
    return bool(cell and cell.strip())


def _first(row: Record) -> str:
    return next((cell.strip() for cell in row.cells if cell and cell.strip()), "")


def _ends(row: Record, layout: Layout) -> bool:
    return bool(layout.rule.until and layout.rule.until.search(_first(row)))


def _carried_down(rows: Iterable[Record], layout: Layout) -> Iterator[Record]:
    """Yield the rows with cells that stand only once above their group written into each row of it.

    A column stated anew forgets those named after it (a new boat, the day). Below a row that cannot be read nothing
    is carried: it may have begun another group.
    """
    last: dict[int, str | None] = {}
    is_lost = False
    for row in rows:
        if row.fault is not None or not layout.fill_down:
            is_lost |= row.fault not in (None, SKIPPED)
            yield row
            continue
        stated = [_said(row.cells[place]) for place in layout.fill_down]
        is_lost &= not stated[0]
        if is_lost:
            yield replace(row, fault=ADRIFT, hint="mend that row, or write the cells into each row of the group")
            continue
        if any(stated):
            first = stated.index(True)
            last |= {place: row.cells[place] for place in layout.fill_down[first:]}
        yield replace(row, cells=tuple(last.get(p, c) if p in layout.fill_down else c for p, c in enumerate(row.cells)))


def _of_fitting(rows: Iterable[Record], layout: Layout, mapping: SenderMapping) -> Iterator[Record]:
    """Yield all rows, or of a wide sheet those of one fitting; the first fitting tells of rows that are no one's."""
    for row in _carried_down(_within(rows, layout), layout):
        if layout.wide is None:
            yield row
        elif row.fault is not None:
            yield from [row] if layout.wide.is_first else []
        elif _is_filled(row, layout.wide.place, mapping, layout):
            yield row
        elif layout.wide.is_first and not any(_is_filled(row, p, mapping, layout) for p in layout.wide.places):
            yield replace(row, fault=SAYS_NOTHING, hint="say what was looked at, or skip such rows")


def _is_filled(row: Record, place: int, mapping: SenderMapping, layout: Layout) -> bool:
    cell = row.cells[place]
    column = layout.rule.wide.cell if layout.rule.wide else ""
    return cell is not None and _said(cell) and mapping.replaced(column, cell.strip()) is not None


def _row(row: Record, layout: Layout, mapping: SenderMapping) -> Record:
    cells = [*row.cells, *(_added(row.cells, how) for how in layout.added)]
    columns = layout.header.columns
    made = [_cell(cell, column, layout, mapping) for cell, column in zip(cells, columns, strict=True)]
    if layout.rule.shape == "boat":
        _say_little(made, cells, layout, mapping)
    if layout.wide is not None:
        _give_own_id(made, layout)
    return replace(row, cells=tuple(made))


def _added(cells: Cells, how: tuple[int, ...] | str | None) -> str | None:
    if isinstance(how, str) or how is None:
        return how
    return " ".join(cell.strip() for cell in (cells[place] for place in how) if cell and cell.strip()) or None


def _cell(cell: str | None, column: str | None, layout: Layout, mapping: SenderMapping) -> str | None:
    if not column or cell is None:
        return cell
    said = mapping.replaced(column, cell.strip())
    if said is None or layout.kinds[column] not in ("number", "integer"):
        return said
    return as_number(said, column=column, decimal=mapping.decimal, unit=layout.rule.units.get(column))


def _say_little(made: list[str | None], cells: list[str | None], layout: Layout, mapping: SenderMapping) -> None:
    """Take a word on the whole boat that is no known result for inconclusive: it tells nothing of any one part."""
    place = layout.header.columns.index("result")
    word = made[place]
    made[-1] = cells[place]
    if word is None or mapping.vocabulary.canonical("result", word) is None:
        made[place] = "inconclusive"


def _give_own_id(made: list[str | None], layout: Layout) -> None:
    """Give each look of a visit an id of its own, where the visit has one."""
    place = layout.header.place("inspection_id")
    if place is not None and made[place] is not None and layout.wide is not None:
        made[place] = f"{made[place]}/{layout.wide.heading}"


def _each_once(rows: Iterable[Record], layout: Layout) -> Iterator[Record]:
    """Yield rows only where they say of our columns what no earlier one says."""
    seen: set[Cells] = set()
    columns = layout.header.columns
    for row in rows:
        if row.fault is not None:
            yield row
            continue
        ours = tuple(cell if column else None for cell, column in zip(row.cells, columns, strict=True))
        if ours not in seen:
            seen.add(ours)
            yield replace(row, cells=ours)
