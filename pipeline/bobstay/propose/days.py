"""Which of day and month comes first: told by the data or asked, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bobstay.ingest.edtf import DateError, bounds
from bobstay.ingest.spoken_days import as_edtf

if TYPE_CHECKING:
    from bobstay.propose.looking import Column

_MONTHS, _DAYS = 12, 31  # a number between them can only be a day; one beyond is a slip and decides nothing
_NUMBERS = re.compile(r"(\d{1,2})[/. -](\d{1,2})[/. -](\d{4}|\d{2})")


@dataclass(frozen=True, slots=True)
class Days:
    """The order of day and month: dmy, mdy, ymd (none is needed) or None; and what must be asked of it."""

    order: str | None = None
    question: str | None = None
    why: str = ""


def order_of_days(columns: Iterable[Column]) -> Days:
    """Return the order that every column of days decides by itself and alike; a number over 12 is a day.

    A column that decides nothing leaves the question open, whatever other columns say.
    """
    told = {column.heading: _orders(column) for column in columns}
    unsure = [heading for heading, orders in told.items() if orders == {"dmy", "mdy"}]
    split = [heading for heading, orders in told.items() if orders == set()]
    orders = {next(iter(found)) for found in told.values() if found is not None and len(found) == 1}
    if split or len(orders) > 1:
        which = ", ".join(split or told)
        return Days(None, f"days stand in more than one order ({which}): which is meant?")
    if unsure:
        return Days(None, f"no number of {', '.join(unsure)} is over 12: is the day first (dmy) or the month (mdy)?")
    if orders:
        return Days(orders.pop(), None, "told by numbers over 12")
    return Days("ymd", None, "months by name or year first") if any(map(_has_spoken, columns)) else Days()


def _orders(column: Column) -> set[str] | None:
    """Return the orders in which all of the column's days are days; None where it has none written so."""
    found = [match for cell in column.counts if (match := _NUMBERS.fullmatch(cell))]
    if not found:
        return None
    orders = {"dmy", "mdy"}
    if any(_MONTHS < int(match[1]) <= _DAYS for match in found):
        orders.discard("mdy")
    if any(_MONTHS < int(match[2]) <= _DAYS for match in found):
        orders.discard("dmy")
    return orders


def _has_spoken(column: Column) -> bool:
    return any(as_edtf(cell) is not None for cell in column.counts)


def looks_like_days(column: Column) -> bool:
    """Say whether most of the column's cells are days in some form."""
    read = sum(n for cell, n in column.counts.items() if _NUMBERS.fullmatch(cell) or as_edtf(cell) or _is_edtf(cell))
    return read * 2 > sum(column.counts.values())


def _is_edtf(cell: str) -> bool:
    try:
        bounds(cell)
    except DateError:
        return False
    return len(cell) > 4
