"""How numbers and days are written: one rule each, for every page and paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime

_THIN_SPACE = "\u2009"
_MM_PER_INCH = 25.4
_MOST_YEARS = 1000  # beyond this the digits of an age say nothing


def known(value: float | None) -> bool:
    """Say whether a number is there (neither empty nor not-a-number)."""
    return value is not None and not math.isnan(value)


@dataclass(frozen=True, slots=True)
class Forms:
    """The marks and words that a language and the settings lay down for numbers, days, money and units."""

    decimal: str  # the mark itself
    date: str  # named, dots or iso
    months: tuple[str, ...]
    named_day: str  # with {d}, {month} and {year}
    no_estimate: str
    never: str
    no_limit: str
    not_known: str
    to: str
    currency: str
    length_unit: str  # mm or inch
    temperature_unit: str  # celsius or fahrenheit

    def number(self, value: float | None, digits: int = 0) -> str:
        """Return a number with a thin space between thousands, or `-` where there is none."""
        if value is None or math.isnan(value):
            return "-"
        if math.isinf(value):
            return self.no_limit
        return self._marked(f"{value:,.{digits}f}")

    def _marked(self, text: str) -> str:
        return text.replace(",", _THIN_SPACE).replace(".", self.decimal)

    def percent(self, value: float | None) -> str:
        """Return a share as whole percent without its sign: `<1` and `>99` at the ends, words where there is none."""
        if value is None or math.isnan(value):
            return self.no_estimate
        if value < 0.01:
            return "<1"
        return ">99" if value > 0.99 else str(round(100 * value))

    def chance(self, value: float | None) -> str:
        """Return a share as `34 %`, or the words for none."""
        return f"{self.percent(value)} %" if known(value) else self.no_estimate

    def interval(self, lower: float | None, upper: float | None) -> str:
        """Return the two ends of a share's interval as `21–52 %`, or `<1 to 7 %`."""
        if not (known(lower) and known(upper)):
            return self.not_known
        low, high = self.percent(lower), self.percent(upper)
        if low == high:
            return f"{low} %"
        return f"{low}–{high} %" if (low + high).isdigit() else f"{low} {self.to} {high} %"

    def years(self, value: float | None, digits: int = 1) -> str:
        """Return years as `7.5`, `12`, `>1000`, `never` (no bound) or `-` (none stated)."""
        if value is None or math.isnan(value):
            return "-"
        if math.isinf(value):
            return self.never
        if value > _MOST_YEARS:
            return f">{_MOST_YEARS}"
        text = f"{value:.{digits}f}"
        return self._marked(text.rstrip("0").rstrip(".") if "." in text else text)

    def years_between(self, lower: float | None, upper: float | None) -> str:
        """Return the two ends of an age's interval as `5–8.5`."""
        if not (known(lower) and known(upper)):
            return self.not_known
        low, high = self.years(lower), self.years(upper)
        return low if low == high else f"{low}–{high}"

    def amount(self, value: float | None) -> str:
        """Return an expected loss in cost units with two figures that matter."""
        if value is None or math.isnan(value):
            return "-"
        return self.number(value, 0 if value >= 10 else 1) if value >= 0.05 else f"<0{self.decimal}1"

    def share(self, part: float, whole: float) -> str:
        """Return `part` of `whole` in percent with its sign, or `-` of nothing."""
        return f"{self.percent(part / whole)} %" if whole and part else ("0 %" if whole else "-")

    def money(self, value: float | None) -> str:
        """Return money in whole units, with the currency where one is set."""
        return f"{self.number(value)} {self.currency}".rstrip() if known(value) else "-"

    def day(self, value: datetime.date | None) -> str:
        """Return a day as `31 Oct 2026`, `31.10.2026` or `2026-10-31`, or `-`."""
        if value is None:
            return "-"
        if self.date == "iso":
            return f"{value:%Y-%m-%d}"
        if self.date == "dots":
            return f"{value:%d.%m.%Y}"
        return self.named_day.format(d=value.day, month=self.months[value.month - 1], year=value.year)

    def length(self, millimetres: float | None) -> str:
        """Return a length, given in mm, in the unit of the settings."""
        if not known(millimetres):
            return "-"
        if self.length_unit == "inch":
            return f"{self.number((millimetres or 0.0) / _MM_PER_INCH, 2)} in"
        return f"{self.years(millimetres)} mm"

    def temperature(self, celsius: float | None) -> str:
        """Return a temperature, given in degrees Celsius, in the unit of the settings."""
        if not known(celsius):
            return "-"
        if self.temperature_unit == "fahrenheit":
            return f"{self.number((celsius or 0.0) * 9 / 5 + 32)} °F"
        return f"{self.number(celsius)} °C"
