"""Writes a proposal as TOML that loads as it stands: what is sure as lines, samples and questions as comments."""

from __future__ import annotations

import json
import re
from datetime import date
from typing import TYPE_CHECKING

from bobstay.ingest.cells import read_cell
from bobstay.ingest.record import Rules
from bobstay.mapping import UNITS, as_number
from bobstay.mapping.figures import own_unit, unit_in
from bobstay.propose.known import known_columns
from bobstay.propose.words import words_of
from bobstay.tables import BOATS, FITTINGS, INPUTS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from bobstay.propose.days import Days
    from bobstay.propose.guessing import Guess
    from bobstay.propose.looking import Column
    from bobstay.tables import InputColumn, InputTable

_COMMA = re.compile(r"\d,\d+$")
_POINT = re.compile(r"[+-]?\d+\.\d+")
_THOUSANDS = 3  # digits after a mark that may part thousands
_LIMIT = date(9999, 12, 31)  # samples show what a cell says, not whether it may be


def as_toml(file: str, guesses: Sequence[Guess], days: Days, idle: Sequence[str]) -> tuple[str, list[str]]:
    """Return the mapping as text, and the questions that stand in it."""
    lines = [
        f"# A first mapping for {_plain(file)}: answer what is asked; take out the # before a line to use it.",
        f"files = [{_text(file)}]",
    ]
    decimal = _decimal(guesses)
    lines += _of_days(days)
    lines += _of_decimal(decimal)
    lines += [f"# QUESTION: sheet {_plain(name)} is not read: should it be?" for name in idle]
    lines += ["", *words_of(guesses)]
    for guess in guesses:
        lines += ["", *_part(guess, days, decimal)]
    questions = [line.removeprefix("# QUESTION: ") for line in lines if line.startswith("# QUESTION: ")]
    return "\n".join(lines) + "\n", questions


def _text(text: str) -> str:
    """Return `text` as a TOML string (the escapes of JSON are TOML's too)."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plain(text: str) -> str:
    """Return `text` fit for a comment: one line, nothing unprintable."""
    return "".join(c if c.isprintable() else " " for c in text)


def _of_days(days: Days) -> Iterator[str]:
    if days.order:
        yield f'dates = "{days.order}"  # {days.why}'
    elif days.question:
        yield f"# QUESTION: {_plain(days.question)}"
        yield '# dates = "dmy"'


def _decimal(guesses: Iterable[Guess]) -> str | None:
    """Return the decimal mark the numbers show, None where they show both or none that is sure."""
    cells = [
        cell for guess in guesses for theirs, ours in guess.columns if ours.kind == "number" for cell in theirs.counts
    ]
    commas = [cell for cell in cells if _COMMA.search(cell)]
    points = [cell for cell in cells if _POINT.fullmatch(cell)]
    if not commas:
        return "."
    is_sure = any(len(cell.rpartition(",")[2]) != _THOUSANDS for cell in commas)
    return "," if is_sure and not points else None


def _of_decimal(decimal: str | None) -> Iterator[str]:
    if decimal == ",":
        yield 'decimal = ","  # told by the numbers'
    elif decimal is None:
        yield "# QUESTION: is the comma in the numbers a decimal mark?"
        yield '# decimal = ","'


def _part(guess: Guess, days: Days, decimal: str | None) -> Iterator[str]:
    sheet = guess.sheet
    yield "[[part]]"
    yield f"table = {_text(guess.table.name)}"
    if sheet.name != "-":
        yield f"sheet = {_text(_literally(sheet.name))}"
    yield f"header = {sheet.header}"
    if sheet.header_rows > 1:
        yield f"header_rows = {sheet.header_rows}"
    yield from _of_shape(guess)
    yield from _of_rows(guess)
    yield ""
    yield "[part.columns]"
    for theirs, ours in guess.columns:
        yield from _samples(theirs, ours, days, decimal)
        yield f"{_text(theirs.heading)} = {_text(ours.name)}"
    for theirs, names in guess.asked:
        yield from _asked(theirs, names)
    yield from _constants(guess)
    yield from _units(guess)
    yield from _wide(guess)


def _literally(name: str) -> str:
    """Return a pattern that fits just this name."""
    return re.sub(r"[*?\[]", r"[\g<0>]", name)


def _of_shape(guess: Guess) -> Iterator[str]:
    if guess.shape == "wide":
        yield 'shape = "wide"'
        yield "# QUESTION: is a row a visit, with a column for each fitting? so it looks"
    elif guess.shape == "boat":
        yield 'shape = "boat"'
        yield "# QUESTION: no column names the fitting: is a row a look over the whole boat? it tells of no part"


def _of_rows(guess: Guess) -> Iterator[str]:
    if guess.sheet.totals:
        yield f"skip = [{', '.join(_text(f'^{re.escape(word)}') for word in guess.sheet.totals)}]  # rows that add up"
    for line in guess.sheet.other_headers:
        yield f"# QUESTION: line {line} looks like a header too: is it another table, for a [[part]] of its own?"
    for text in guess.sheet.lone:
        yield f"# QUESTION: a row holds nothing but {_plain(_text(text[:80]))}: is it a note, to be put in skip?"
    for theirs, ours in guess.columns:
        if ours.name in ("boat_id", "inspected_on") and theirs.empty and theirs.counts:
            asked = f"{_plain(theirs.heading)} is empty in {theirs.empty} rows: does the cell above go on there?"
            yield f"# QUESTION: {asked}"
            yield f"# fill_down = [{_text(theirs.heading)}]"
        elif ours.required and theirs.empty:
            yield f"# QUESTION: {_plain(theirs.heading)} is empty in {theirs.empty} rows, which cannot be used so"
    yield from _other_tables(guess)


def _other_tables(guess: Guess) -> Iterator[str]:
    """Ask whether the rows tell of more than one thing: a look, and the fitting or the boat it was at."""
    for table in (BOATS, FITTINGS):
        named = [
            theirs.heading
            for theirs, _ in guess.asked
            if any(_only_in(table, guess.table, name) for name in known_columns(theirs.heading))
        ]
        if table is not guess.table and named:
            shown = ", ".join(map(_plain, named))
            yield f"# QUESTION: {shown} may tell of {table.name}: should the rows make {table.name} as well?"
            yield f"# then add another [[part]] with table = {_text(table.name)} and each_once = true"


def _only_in(table: InputTable, other: InputTable, name: str) -> bool:
    return name in table.column_names and name not in other.column_names


def _samples(theirs: Column, ours: InputColumn, days: Days, decimal: str | None) -> Iterator[str]:
    shown = "; ".join(_parsed(cell, ours, days, decimal) for cell in theirs.samples)
    yield f"# {shown or 'no cell is filled in'}"


def _parsed(cell: str, ours: InputColumn, days: Days, decimal: str | None) -> str:
    """Return one cell as it came and as it would be read."""
    text = cell
    if ours.kind in ("number", "integer"):
        text = as_number(cell, column=ours.name, decimal=decimal or ".")
    table = next(t for t in INPUTS if any(ours is column for column in t.columns))
    read = read_cell(table, ours, text, rules=Rules(_LIMIT, days.order))
    if read.reason:
        said = f"not read: {read.reason}"
    elif ours.kind == "date":
        said = str(read.earliest) if read.earliest == read.latest else f"{read.earliest} to {read.latest}"
    else:
        said = str(read.value)
    return _plain(_text(cell[:40])) + ("" if said == cell else f" -> {_plain(said)}")


def _asked(theirs: Column, names: Sequence[str]) -> Iterator[str]:
    samples = "; ".join(_plain(_text(cell[:40])) for cell in theirs.samples)
    yield f"# {samples}"
    if names:
        yield f"# QUESTION: {_plain(theirs.heading)} is kept, not read: is it {' or '.join(names)}?"
        yield f"# {_plain(_text(theirs.heading))} = {_text(names[0])}"
    else:
        yield f"# {_plain(_text(theirs.heading))} is kept as it came: it names none of our columns"


def _constants(guess: Guess) -> Iterator[str]:
    if not guess.missing:
        return
    yield ""
    yield "[part.constants]"
    columns = {column.name: column for column in guess.table.columns}
    for name in guess.missing:
        allowed = f" ({', '.join(columns[name].choices)})" if columns[name].choices else ""
        yield f"# QUESTION: no column says {name}, {columns[name].about}: what is it in all rows?{allowed}"
        yield f'{name} = ""'


def _units(guess: Guess) -> Iterator[str]:
    found = [
        (ours.name, unit)
        for theirs, ours in guess.columns
        if (own := own_unit(ours.name)) and (unit := unit_in(theirs.heading, own)) and unit != UNITS[own][0]
    ]
    if found:
        yield ""
        yield "[part.units]  # told by the headings"
        yield from (f"{name} = {_text(unit)}" for name, unit in found)


def _wide(guess: Guess) -> Iterator[str]:
    if not guess.wide:
        return
    yield ""
    yield "[part.wide]"
    yield 'heading = "fitting_id"'
    yield 'cell = "result"'
    yield ""
    yield "# QUESTION: which fitting is each column? write its fitting_id at the right"
    yield "[part.wide.columns]"
    for column in guess.wide:
        yield f"# {'; '.join(_plain(_text(cell[:40])) for cell in column.samples)}"
        yield f"{_text(column.heading)} = {_text(column.heading)}"
