"""Days only roughly known: ISO 8601 days and EDTF levels 0 and 1, each read as an earliest and a latest day."""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta

Bounds = tuple[date | None, date | None]

_TIME = re.compile(r"[T ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?(Z|[+-]\d{2}(:?\d{2})?)?")
_ROUGH = re.compile(r"(\d{4}|\d{3}X|\d{2}XX|XXXX)(?:-(\d{2}|XX))?(?:-(\d{2}|XX))?([~?%]?)")
_DECLARED = re.compile(r"(\d{1,2})([/. -])(\d{1,2})\2(\d{4}|\d{2})")
_FORMS = "write 2019-04-03, or 2019-04, 2019, 2019~, ../2019, 2017/2019 where only roughly known"
_SEASONS = {21: (3, 5), 22: (6, 8), 23: (9, 11)}


class DateError(ValueError):
    """A cell that is no day: `reason` says why, `hint` what to write."""

    def __init__(self, reason: str, hint: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.hint = hint


def bounds(text: str, *, dates: str | None = None, limit: date | None = None) -> Bounds:
    """Return the earliest and latest day that `text` allows; None where it sets no bound on that side.

    Read: days, months, years, `199X`, `2004-XX`, `XXXX`, intervals with `/`, open ends `..`, seasons 21 to 24, and
    time stamps (the day is kept). `~` and `%` (approximate) widen by one unit of what is written, each side; `?`
    (uncertain source) does not. Seasons are the northern ones; winter (24) may be either end of its year, so it
    runs from 1 January to the end of February after. `dates` = dmy or mdy also reads 3/4/19; a two-digit year is
    the latest one that does not lie after `limit`. Source: ISO 8601-2:2019 (EDTF), from memory.
    Raises DateError.
    """
    try:
        return _bounds(text.strip(), dates, limit or date.max)
    except OverflowError:
        raise DateError("years before 1 or after 9999 are not read", _FORMS) from None


def _bounds(word: str, dates: str | None, limit: date) -> Bounds:
    declared = _DECLARED.fullmatch(word)
    if declared:
        day = _declared_day(declared, dates, limit)
        return day, day
    if "/" in word:
        return _interval(word)
    if word == "..":
        return None, None
    return _rough(word)


def _interval(word: str) -> Bounds:
    sides = word.split("/")
    if len(sides) != 2:
        raise DateError("not a day that can be read", _FORMS)
    first, last = sides
    earliest = None if first in ("", "..") else _rough(first)[0]
    latest = None if last in ("", "..") else _rough(last)[1]
    if earliest and latest and latest < earliest:
        raise DateError("the range ends before it begins", "write the earlier day first")
    return earliest, latest


def _rough(word: str) -> Bounds:
    found = _ROUGH.fullmatch(word)
    if not found:
        return _time_stamp(word)
    year, month, day, mark = found.groups()
    if year == "XXXX" and month is None:
        return None, None
    if ("X" in year and month not in (None, "XX")) or (month == "XX" and day not in (None, "XX")):
        raise DateError("only the end of a date may be left open with X", _FORMS)
    earliest, latest = _span(year, month, day)
    return _widened(earliest, latest, year, month, day) if mark in ("~", "%") else (earliest, latest)


def _span(year: str, month: str | None, day: str | None) -> tuple[date, date]:
    low, high = int(year.replace("X", "0")), int(year.replace("X", "9"))
    if low < 1 or "X" in year or month in (None, "XX"):
        return _real(max(low, 1) if "X" in year else low, 1, 1), date(high, 12, 31)
    number = int(month or 0)
    if number in _SEASONS and day is None:
        first, last = _SEASONS[number]
        return date(low, first, 1), _month_end(low, last)
    if number == 24 and day is None:
        return date(low, 1, 1), _shifted(date(low, 2, 1), 12)
    if day in (None, "XX"):
        return _real(low, number, 1), _month_end(low, number)
    only = _real(low, number, int(day or 0))
    return only, only


def _widened(earliest: date, latest: date, year: str, month: str | None, day: str | None) -> tuple[date, date]:
    if day not in (None, "XX"):
        return earliest - timedelta(days=1), latest + timedelta(days=1)
    is_season = month not in (None, "XX") and int(month or 0) > 12
    unit = 12 * 10 ** year.count("X") if month in (None, "XX") else 3 if is_season else 1
    return _shifted(earliest, -unit).replace(day=1), _shifted(latest, unit)


def _shifted(day: date, months: int) -> date:
    """Return the end of the month that lies `months` after that of `day`, kept within years 1 to 9999."""
    count = min(max(day.year * 12 + day.month - 1 + months, 12), 9999 * 12 + 11)
    return _month_end(count // 12, count % 12 + 1)


def _month_end(year: int, month: int) -> date:
    return date(year, month, calendar.monthrange(year, month)[1])


def _real(year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise DateError("there is no such day", "correct the year, month or day") from None


def _time_stamp(word: str) -> Bounds:
    if len(word) > 10 and _TIME.fullmatch(word[10:]):
        return _rough(word[:10])
    if word[:1] in ("Y", "-"):
        raise DateError("years before 1 or after 9999 are not read", _FORMS)
    raise DateError("not a day that can be read", _FORMS)


def _declared_day(found: re.Match[str], dates: str | None, limit: date) -> date:
    if dates is None:
        raise DateError("day and month cannot be told apart", "declare --dates dmy or --dates mdy, or write 2019-04-03")
    first, _, second, year_text = found.groups()
    day, month = (int(first), int(second)) if dates == "dmy" else (int(second), int(first))
    year = int(year_text)
    if len(year_text) == 2:
        year += limit.year // 100 * 100
        year -= 100 if year > limit.year else 0
    try:
        return date(year, month, day)
    except ValueError:
        order = "day/month/year" if dates == "dmy" else "month/day/year"
        raise DateError(f"there is no such day, read as {order}", "correct it, or declare the other order") from None
