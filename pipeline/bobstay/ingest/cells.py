"""Reads one cell by the kind of its column; used for every cell that is not in its usual form."""

from __future__ import annotations

import difflib
import math
import re
from typing import TYPE_CHECKING

from bobstay.ingest.edtf import DateError, bounds
from bobstay.ingest.record import Reading, Rules

if TYPE_CHECKING:
    from bobstay.tables import InputColumn

_YES_NO = dict.fromkeys(("yes", "y", "true", "1"), "true") | dict.fromkeys(("no", "n", "false", "0"), "false")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def read_cell(column: InputColumn, text: str, *, rules: Rules) -> Reading:
    """Return what `text` (trimmed, not empty) says in `column`, or the reason why it says nothing."""
    match column.kind:
        case "date":
            return _day(column, text, rules)
        case "choice":
            return _word(column, text)
        case "choices":
            return _words(column, text)
        case "yes_no":
            return _yes_no(text)
        case "integer" | "number":
            return _number(column, text)
        case _:
            return Reading(value=text)


def _day(column: InputColumn, text: str, rules: Rules) -> Reading:
    try:
        earliest, latest = bounds(text, dates=rules.dates, limit=rules.limit)
    except DateError as fault:
        return Reading(reason=fault.reason, hint=fault.hint)
    if column.past_only and earliest and earliest > rules.limit:
        return Reading(reason="the day lies in the future", hint=f"correct it: the last day allowed is {rules.limit}")
    return Reading(value=text, earliest=earliest, latest=latest)


def plain_word(text: str) -> str:
    """Return `text` without regard to case, spaces and hyphens: the form in which words are compared."""
    return "_".join(re.split(r"[\s_-]+", text.strip().casefold()))


def _word(column: InputColumn, text: str) -> Reading:
    word = plain_word(text)
    if word in column.choices:
        return Reading(value=word)
    is_wordlike = word.replace("_", "").isalpha()  # no known word has a digit, and a comparison takes its time
    near = difflib.get_close_matches(word, column.choices, n=1) if is_wordlike else []
    guess = f"did you mean {near[0]}? " if near else ""
    return Reading(reason=f"unknown word in {column.name}", hint=f"{guess}known words: {', '.join(column.choices)}")


def _words(column: InputColumn, text: str) -> Reading:
    readings = [_word(column, piece) for piece in text.split(";") if piece.strip()]
    bad = [r for r in readings if r.reason]
    if bad or not readings:
        return bad[0] if bad else Reading(reason=f"no word in {column.name}", hint=", ".join(column.choices))
    return Reading(value=";".join(dict.fromkeys(r.value or "" for r in readings)))


def _yes_no(text: str) -> Reading:
    value = _YES_NO.get(text.casefold())
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
