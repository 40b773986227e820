"""What pages do with words besides saying them: unseen characters written out, steps of the colour scale."""

from __future__ import annotations

import math
import re
from typing import Any

# Lower ends of the steps of the colour scale, in shares; each cell carries its number as well.
STEPS = (0.02, 0.05, 0.15, 0.30, 0.60)
# Controls, and marks that turn a line round: no letters, but they would change what a reader sees.
_UNSEEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def seen(value: Any) -> Any:
    """Return a value as a page shows it: of text, the unseen characters are written out."""
    if not isinstance(value, str) or not _UNSEEN.search(value):
        return value
    return type(value)(_UNSEEN.sub(lambda found: repr(found[0])[1:-1], value))


def shown(value: Any) -> Any:
    """As `seen`, and no number is broken at its thin space: a page wraps lines, a sheet of paper does not."""
    value = seen(value)
    return type(value)(value.replace("\u2009", "\u202f")) if isinstance(value, str) and "\u2009" in value else value


def step(value: float | None) -> str:
    """Return the class of the colour scale, `h0` to `h5`, or `hx` where there is no number."""
    if value is None or math.isnan(value):
        return "hx"
    return f"h{sum(value >= s for s in STEPS)}"
