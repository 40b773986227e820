"""Days as people write them, read only where somebody declared the order of day and month.

Told apart without it as well: months by name, year first with three numbers, and a month with a year.
"""

from __future__ import annotations

import re
import unicodedata

# Names of months in English, German, French, Spanish, Italian and Dutch (common knowledge); three letters suffice
# where they are no other month's. Accents are struck off first.
_MONTHS = (
    "jan january januar jaenner janvier janv enero ene gennaio gen januari",
    "feb february februar fevrier fevr fev febrero febbraio februari",
    "mar march marz maerz mars marzo maart mrt mrz",
    "apr april avril avr abril abr aprile",
    "may mai mayo maggio mag mei",
    "jun june juni juin junio giugno giu",
    "jul july juli juillet juil julio luglio lug",
    "aug august aout aou agosto ago augustus",
    "sep sept september septembre septiembre settembre set",
    "oct october oktober okt octobre octubre ottobre ott",
    "nov november novembre noviembre",
    "dec december dezember dez decembre diciembre dic dicembre",
)
_NUMBERS = {name: number for number, names in enumerate(_MONTHS, start=1) for name in names.split()}

_YEAR_FIRST = re.compile(r"(\d{4})([/.])(\d{1,2})\2(\d{1,2})")
_COMPACT = re.compile(r"((?:19|20)\d{2})(0[1-9]|1[0-2])(0[1-9]|[12]\d|3[01])")
_MONTH_YEAR = re.compile(r"(\d{1,2})[/.-](\d{4})")
_DAY_NAMED = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th|er)?\.?[\s-]*(?:de\s+)?([a-z]{3,})\.?,?[\s-]*(?:de\s+|del\s+)?(\d{4})"
)
_NAMED_DAY = re.compile(r"([a-z]{3,})\.?\s*(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})")
_NAMED = re.compile(r"([a-z]{3,})\.?,?[\s-]*(?:de\s+|del\s+)?(\d{4})")
_ABOUT = re.compile(r"(?:ca?\.?|circa|about|approx\.?|um|env\.?|environ|hacia|~)\s*(\d{4})")
_BEFORE = re.compile(r"(?:before|vor|avant|antes de|<)\s*(\d{4})")


def as_edtf(text: str) -> str | None:
    """Return the day, month or year that `text` says, as EDTF writes it; None where it is in no form known here."""
    word = _plain(text)
    if found := _YEAR_FIRST.fullmatch(word):
        return _iso(found[1], found[3], found[4])
    if found := _COMPACT.fullmatch(word):
        return _iso(*found.groups())
    if found := _MONTH_YEAR.fullmatch(word):
        return _iso(found[2], found[1])
    if found := _ABOUT.fullmatch(word):
        return f"{found[1]}~"
    if found := _BEFORE.fullmatch(word):
        return f"../{int(found[1]) - 1:04d}"
    return _named(word)


def _plain(text: str) -> str:
    folded = text.casefold().replace("ä", "ae").replace("ö", "oe")
    bare = "".join(c for c in unicodedata.normalize("NFKD", folded) if not unicodedata.combining(c))
    return " ".join(bare.split())


def _named(word: str) -> str | None:
    if found := _DAY_NAMED.fullmatch(word):
        return _iso(found[3], _NUMBERS.get(found[2]), found[1])
    if found := _NAMED_DAY.fullmatch(word):
        return _iso(found[3], _NUMBERS.get(found[1]), found[2])
    if found := _NAMED.fullmatch(word):
        return _iso(found[2], _NUMBERS.get(found[1]))
    return None


def _iso(year: str, month: str | int | None, day: str | None = None) -> str | None:
    if month is None or not 1 <= int(month) <= 12:
        return None
    return f"{year}-{int(month):02d}" + (f"-{int(day):02d}" if day else "")
