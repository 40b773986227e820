"""Time since a day and until a day, in words, and the day some months on."""

from __future__ import annotations

from calendar import monthrange
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bobstay.wording import Wording

_DAYS_A_MONTH, _DAYS_A_YEAR = 365.25 / 12, 365.25
_MONTHS_FROM, _YEARS_FROM = 60, 730  # days from which months, and years, are told


def since(day: date | None, *, as_of: date, wording: Wording) -> str:
    """Return how long ago `day` was on the day `as_of` (`in 5 days` where it is still to come), or `-`."""
    if day is None:
        return "-"
    days = (as_of - day).days
    if days == 0:
        return wording.say("base.today")
    return wording.say("base.since" if days > 0 else "base.until", time=_span(abs(days), wording))


def months_on(day: date, months: int) -> date:
    """Return the same day so many months later, or the last of that month where it is shorter."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _span(days: int, wording: Wording) -> str:
    if days < _MONTHS_FROM:
        return wording.say("base.days", n=days)
    if days < _YEARS_FROM:
        return wording.say("base.months", n=round(days / _DAYS_A_MONTH))
    return wording.say("base.years", years=days / _DAYS_A_YEAR)
