"""What was asked of a study: its sizes, and the page its table goes into."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.errors import UsageError
from bobstay.study.summary import BEGIN, END, put_between

if TYPE_CHECKING:
    from pathlib import Path

LEAST_BOATS, MOST_BOATS = 2, 5000


def sizes_of(fleets: str, boats: str) -> list[tuple[int, int]]:
    """Return (fleets, boats) pairs from comma-separated numbers; one number of fleets stands for every size.

    Raises UsageError where they are no whole numbers, out of bounds, or not as many.
    """
    try:
        counts, sizes = ([int(part) for part in text.split(",")] for text in (fleets, boats))
    except ValueError:
        raise _wrong(fleets, boats) from None
    counts = counts * len(sizes) if len(counts) == 1 else counts
    if len(counts) != len(sizes) or min(counts) < 1 or not LEAST_BOATS <= min(sizes) <= max(sizes) <= MOST_BOATS:
        raise _wrong(fleets, boats)
    return list(zip(counts, sizes, strict=True))


def _wrong(fleets: str, boats: str) -> UsageError:
    return UsageError(
        "these are no sizes of a study",
        where=f"--fleets {fleets} --boats {boats}",
        remedy=f"allowed: whole numbers from 1, boats from {LEAST_BOATS} to {MOST_BOATS}: --fleets 9,5 --boats 40,150",
    )


def put_into(page: Path, table: str, *, command: str) -> None:
    """Put the table between the marks of a page; raises UsageError where the page or its marks are not there."""
    text = page.read_text(encoding="utf-8") if page.is_file() else ""
    if BEGIN not in text or END not in text:
        raise UsageError(
            "the page has no place for the table", where=str(page), remedy=f"write {BEGIN} and {END} in it"
        )
    page.write_text(put_between(text, table, command=command), encoding="utf-8")
