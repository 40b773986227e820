"""Numbers, days and table words as a reader in a yard should see them; one rule each, used by every page."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import date

NO_ESTIMATE = "no estimate"
CONSEQUENCES = {
    5: "capsize or sinking",
    4: "rig lost, injury",
    3: "steering lost, person overboard",
    2: "voyage ended",
    1: "nuisance",
}
ACTIONS = {"act_now": "Act now", "replace": "Renew", "test": "Test", "leave": "Nothing this season"}
METHODS = {
    "visual": "visual",
    "magnified": "magnifier",
    "penetrant": "penetrant",
    "fluorescent_penetrant": "fluorescent penetrant",
    "eddy_current": "eddy current",
    "ultrasonic": "ultrasonic",
    "radiographic": "radiographic",
    "proof_load": "proof load",
}
SHOWS = {"clear": "found nothing", "indication": "indication", "nothing": "tells nothing"}
# Lower ends of the steps of the colour scale, in shares; each cell carries its number as well.
STEPS = (0.02, 0.05, 0.15, 0.30, 0.60)


# Controls, and marks that turn a line round: no letters, but they would change what a reader sees.
_UNSEEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def seen(value: Any) -> Any:
    """Return a value as a page shows it: of text, the unseen characters are written out."""
    if not isinstance(value, str) or not _UNSEEN.search(value):
        return value
    return type(value)(_UNSEEN.sub(lambda found: repr(found[0])[1:-1], value))


def known(value: float | None) -> bool:
    """Say whether a number is there (neither empty nor not-a-number)."""
    return value is not None and not math.isnan(value)


def percent(value: float | None) -> str:
    """Return a share as whole percent without its sign: `<1` and `>99` at the ends, words where there is none."""
    if value is None or math.isnan(value):
        return NO_ESTIMATE
    if value < 0.01:
        return "<1"
    return ">99" if value > 0.99 else str(round(100 * value))


def chance(value: float | None) -> str:
    """Return a share as `34 %`, or the words for none."""
    text = percent(value)
    return text if text == NO_ESTIMATE else f"{text} %"


def interval(lower: float | None, upper: float | None) -> str:
    """Return the two ends of a share's interval as `21–52 %`, or `<1 to 7 %`."""
    if not (known(lower) and known(upper)):
        return "interval not known"
    low, high = percent(lower), percent(upper)
    if low == high:
        return f"{low} %"
    return f"{low}–{high} %" if (low + high).isdigit() else f"{low} to {high} %"


def years(value: float | None, digits: int = 1) -> str:
    """Return years as `7.5`, `12`, `never` (no bound) or `-` (none stated)."""
    if value is None or math.isnan(value):
        return "-"
    if math.isinf(value):
        return "never"
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def years_between(lower: float | None, upper: float | None) -> str:
    """Return the two ends of an age's interval as `5–8.5`."""
    if not (known(lower) and known(upper)):
        return "bounds not known"
    low, high = years(lower), years(upper)
    return low if low == high else f"{low}–{high}"


def number(value: float | None, digits: int = 0) -> str:
    """Return a number with a thin space between thousands, or `-` where there is none."""
    if value is None or math.isnan(value):
        return "-"
    return "no limit" if math.isinf(value) else f"{value:,.{digits}f}".replace(",", "\u2009")


def amount(value: float | None) -> str:
    """Return an expected loss in cost units with two figures that matter."""
    if value is None or math.isnan(value):
        return "-"
    return number(value, 0 if value >= 10 else 1) if value >= 0.05 else "<0.1"


def day(value: date | None) -> str:
    """Return a day as `31 Oct 2026`, or `-`."""
    if value is None:
        return "-"
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    return f"{value.day} {months[value.month - 1]} {value.year}"


def plain(word: str | None) -> str:
    """Return a table word in plain writing: `mast_out` as `mast out`, `-` for none."""
    return "-" if word is None or word == "" else METHODS.get(word, word.replace("_", " "))


def count(quantity: int, noun: str, plural: str = "") -> str:
    """Return `1 boat`, `12 boats`, `no boats`."""
    named = noun if quantity == 1 else plural or f"{noun}s"
    return f"{number(quantity) if quantity else 'no'} {named}"


def share(part: float, whole: float) -> str:
    """Return `part` of `whole` in percent with its sign, or `-` of nothing."""
    return f"{percent(part / whole)} %" if whole and part else ("0 %" if whole else "-")


def step(value: float | None) -> str:
    """Return the class of the colour scale, `h0` to `h5`, or `hx` where there is no number."""
    if value is None or math.isnan(value):
        return "hx"
    return f"h{sum(value >= s for s in STEPS)}"
