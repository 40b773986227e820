"""An answer in words: headings with lines and small tables, for a person's terminal and for machines alike."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd


@dataclass(frozen=True, slots=True)
class Part:
    """One heading with its lines, and perhaps a table under them."""

    heading: str
    lines: tuple[str, ...] = ()
    rows: pd.DataFrame | None = None

    def text(self) -> str:
        """Return the part as it is printed."""
        body = [self.heading.upper(), *(f"  {line}" for line in self.lines)]
        if self.rows is not None and len(self.rows):
            shown = self.rows.to_string(index=False, na_rep="-", float_format=lambda x: f"{x:.4g}")
            body += [f"  {line}" for line in shown.splitlines()]
        return "\n".join(body)


@dataclass(frozen=True, slots=True)
class Told:
    """A whole answer; `content` is the same for machines."""

    parts: tuple[Part, ...]
    content: dict[str, Any] = field(default_factory=dict)

    def text(self) -> str:
        """Return the answer as it is printed; control characters in users' text are made visible."""
        return visible("\n\n".join(part.text() for part in self.parts))


def visible(text: str) -> str:
    """Return `text` with control characters written out: none may steer a terminal or turn a line round.

    Of the invisible characters (Unicode categories C and Z but the space) only the line end stays.
    """
    if text.isprintable():
        return text
    return "".join(c if c == "\n" or c.isprintable() else repr(c)[1:-1] for c in text)


CAUTION = (
    "This ranks where to look first. It does not say that a fitting or a boat is fit for sea, and a low place may only",
    "mean that nobody has looked. Surveyor, rigger, class, flag, insurer and local rules come first.",
)


def percent(chance: Any) -> str:
    """Return a chance as whole percent: "<1", ">99", or "no estimate"."""
    if chance is None or not chance >= 0:  # NaN too
        return "no estimate"
    if 0 < chance < 0.005:
        return "<1 %"
    if 0.995 < chance < 1:
        return ">99 %"
    return f"{100 * chance:.0f} %"


def each(frame: pd.DataFrame) -> Iterator[Any]:
    """Return the rows of a frame, a column an attribute."""
    return iter(frame.itertuples(index=False))
