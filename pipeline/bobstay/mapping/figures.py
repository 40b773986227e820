"""Numbers as people write them: decimal commas, thousands marks, and units other than the tables' own."""

from __future__ import annotations

import re
from collections.abc import Callable

# Factors are exact by definition (international inch 1959; Fahrenheit and Celsius share exact fixed ratios).
_FACTORS: dict[str, dict[str, Callable[[float], float]]] = {
    "mm": {"mm": lambda x: x, "cm": lambda x: 10 * x, "m": lambda x: 1000 * x, "inch": lambda x: 25.4 * x},
    "c": {"celsius": lambda x: x, "fahrenheit": lambda x: (x - 32) * 5 / 9, "kelvin": lambda x: x - 273.15},
    "min": {"minutes": lambda x: x, "seconds": lambda x: x / 60, "hours": lambda x: 60 * x},
}
_SIGNS = {
    **dict.fromkeys(("mm", "millimetre", "millimeter"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimeter"), "cm"),
    **dict.fromkeys(("inch", "inches", "in", '"', "zoll", "pouce", "pulgada"), "inch"),
    **dict.fromkeys(("°c", "c", "celsius", "deg c", "grad"), "celsius"),
    **dict.fromkeys(("°f", "f", "fahrenheit", "deg f"), "fahrenheit"),
    **dict.fromkeys(("k", "kelvin"), "kelvin"),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten", "'"), "minutes"),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek"), "seconds"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "std"), "hours"),
    "m": "m",
}
_FIGURE = re.compile(r"([+-]?[\d.,'\u2019\u00a0\u202f ]*\d)\s*(\D*)")
_PLAIN = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")


def own_unit(column: str) -> str | None:
    """Return mm, c or min for a column whose name ends so, else None: it takes no unit."""
    ending = column.rpartition("_")[2]
    return ending if ending in _FACTORS else None


UNITS: dict[str, tuple[str, ...]] = {own: tuple(units) for own, units in _FACTORS.items()}


def unit_in(heading: str, own: str) -> str | None:
    """Return the unit that stands at the end of a heading, in brackets or not; None where none of this kind does."""
    last = heading.strip().rstrip(")]").replace("(", " ").replace("[", " ").split()[-1:]
    said = _SIGNS.get(last[0].casefold().strip(".")) if last else None
    return said if said in _FACTORS[own] else None


def as_number(text: str, *, column: str, decimal: str = ".", unit: str | None = None) -> str:
    """Return a cell's number in the table's own unit and with a point; `text` itself where it cannot surely be read.

    `unit` is what numbers are in that carry no sign of a unit; a sign that stands beside the number is believed.
    """
    found = _FIGURE.fullmatch(text.strip())
    if not found:
        return text
    figure, sign = _pointed(found.group(1), decimal), found.group(2).strip().casefold()
    own = own_unit(column)
    said = _SIGNS.get(sign) if sign else unit
    if figure is None or (sign and (own is None or said not in _FACTORS[own])):
        return text
    if own is None or said is None:
        return figure
    return f"{_FACTORS[own][said](float(figure)):.10g}"


def _pointed(figure: str, decimal: str) -> str | None:
    """Return the figure with a point and without thousands marks; None where the marks do not stand as they should."""
    whole, mark, rest = figure.strip().partition(decimal)
    groups = "." if decimal == "," else ","
    if re.search(rf"[{groups}'\u2019\u00a0\u202f ]", whole):
        if not re.fullmatch(rf"[+-]?\d{{1,3}}([{groups}'\u2019\u00a0\u202f ]\d{{3}})+", whole):
            return None
        whole = re.sub(rf"[{groups}'\u2019\u00a0\u202f ]", "", whole)
    pointed = f"{whole}.{rest}" if mark else whole
    return pointed if _PLAIN.fullmatch(pointed) else None
