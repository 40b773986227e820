"""Reads one cell by the kind of its column; used for every cell that is not in its usual form."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from bobstay.ingest.edtf import DateError, bounds
from bobstay.ingest.record import Reading, Rules
from bobstay.ingest.spoken_days import as_edtf
from bobstay.vocabulary import load, word_list

if TYPE_CHECKING:
    from bobstay.tables import InputColumn, InputTable

_YES_NO: dict[str | None, str] = {"yes": "true", "no": "false"}
_SHORT, _LONG = 5, 60  # letters from which a cell with a digit is no word, and from which it is a sentence
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def read_cell(table: InputTable, column: InputColumn, text: str, *, rules: Rules) -> Reading:
    """Return what `text` (trimmed, not empty) says in `column` of `table`, or the reason why it says nothing."""
    match column.kind:
        case "date":
            return _day(column, text, rules)
        case "choice":
            return _word(column, text, word_list(table.name, column), rules)
        case "choices":
            return _words(column, text, word_list(table.name, column), rules)
        case "yes_no":
            return _yes_no(text, rules)
        case "integer" | "number":
            return _number(column, text)
        case _:
            return Reading(value=text)


def _day(column: InputColumn, text: str, rules: Rules) -> Reading:
    try:
        spoken = as_edtf(text) if rules.dates else None
        order = rules.dates if rules.dates != "ymd" else None
        earliest, latest = bounds(spoken or text, dates=order, limit=rules.limit)
    except DateError as fault:
        return Reading(reason=fault.reason, hint=fault.hint)
    if column.past_only and earliest and earliest > rules.limit:
        return Reading(reason="the day lies in the future", hint=f"correct it: the last day allowed is {rules.limit}")
    return Reading(value=text, earliest=earliest, latest=latest)


def plain_word(text: str) -> str:
    """Return `text` without regard to case, spaces and hyphens: the form in which words are compared."""
    return "_".join(re.split(r"[\s_-]+", text.strip().casefold()))


def _word(column: InputColumn, text: str, words: str | None, rules: Rules) -> Reading:
    plain = plain_word(text)
    if plain in column.choices:
        return Reading(value=plain)
    known = (rules.vocabulary or load()).canonical(words, text) if words else None
    if known is not None:
        return Reading(value=known)
    return Reading(reason=f"unknown word in {column.name}", hint=_asked(column, text, words, rules))


def _asked(column: InputColumn, text: str, words: str | None, rules: Rules) -> str:
    """Return what an unknown word may mean, to be said by a person: nothing is taken for what it is only like."""
    is_wordlike = len(text) < _LONG and (len(text) < _SHORT or not any(map(str.isdigit, text)))
    proposals = (rules.vocabulary or load()).proposals(words, text) if words and is_wordlike and rules.proposes else []
    near = dict.fromkeys(proposal.canonical for proposal in proposals)
    guess = f"did you mean {' or '.join(near)}? a mapping can say so for all such rows; " if near else ""
    return f"{guess}known words: {', '.join(column.choices)}"


def _words(column: InputColumn, text: str, words: str | None, rules: Rules) -> Reading:
    readings = [_word(column, piece, words, rules) for piece in text.split(";") if piece.strip()]
    bad = [r for r in readings if r.reason]
    if bad or not readings:
        return bad[0] if bad else Reading(reason=f"no word in {column.name}", hint=", ".join(column.choices))
    return Reading(value=";".join(dict.fromkeys(r.value or "" for r in readings)))


def _yes_no(text: str, rules: Rules) -> Reading:
    value = _YES_NO.get((rules.vocabulary or load()).canonical("yes_no", text))
    return Reading(value=value) if value else Reading(reason="neither yes nor no", hint="write yes or no")


def _number(column: InputColumn, text: str) -> Reading:
    noun = "a whole number" if column.kind == "integer" else "a number"
    if _DECIMAL_COMMA.fullmatch(text):
        return Reading(reason=f"not {noun}", hint=f"write {text.replace(',', '.')}: decimals take a point")
    if not _NUMBER.fullmatch(text) or not math.isfinite(float(text)):
        return Reading(reason=f"not {noun}", hint=f"write {noun} with digits and a point only")
    number = float(text)
    if column.kind == "integer" and number != math.trunc(number):
        return Reading(reason=f"not {noun}", hint="write a whole number")
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    if not low <= number <= high:
        return Reading(reason=f"{column.name} is out of range", hint=f"allowed: {low:g} to {high:g}")
    return Reading(value=str(int(number)) if column.kind == "integer" else repr(number))
