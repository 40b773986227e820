"""Proposes a first mapping for a stranger's file: what the data decide is written, all else is asked."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from bobstay.errors import UsageError
from bobstay.ingest.places import BOOK_ENDINGS, PARQUET_ENDINGS, TEXT_ENDINGS
from bobstay.ingest.sheets import opened_sheets
from bobstay.propose.days import order_of_days
from bobstay.propose.guessing import Guess, guessed
from bobstay.propose.looking import seen_in
from bobstay.propose.writing import as_toml

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Proposal", "proposed"]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mapping as TOML text, and the questions that stand in it as comments."""

    text: str
    questions: tuple[str, ...]


def proposed(path: Path) -> Proposal:
    """Return a first mapping for the file at `path`; raises UsageError, or UnusableDataError where it cannot be read.

    The text loads as a mapping as it stands. A date order is written only where the data decide it.
    """
    if not path.is_file():
        raise UsageError("the file is not there", where=str(path), remedy="check its name")
    known = TEXT_ENDINGS + BOOK_ENDINGS + PARQUET_ENDINGS
    if path.suffix.lower() not in known:
        near = difflib.get_close_matches(path.suffix.lower(), known, n=1)
        remedy = f"did you mean {near[0]}? " if near else ""
        raise UsageError("the file is of no known kind", where=path.name, remedy=f"{remedy}give {', '.join(known)}")
    seen = [sheet for raw in opened_sheets(path, shown=path.name) if (sheet := seen_in(raw)) is not None]
    if not seen:
        raise UsageError("no row in it looks like a header", where=path.name, remedy="write the mapping by hand")
    guesses = [guessed(sheet) for sheet in seen]
    kept = [g for g in guesses if g.columns or g.wide] or guesses[:1]
    return _written(path, kept, guesses)


def _written(path: Path, kept: list[Guess], guesses: Iterable[Guess]) -> Proposal:
    days = order_of_days([column for guess in kept for column in guess.day_columns])
    idle = [guess.sheet.name for guess in guesses if guess not in kept]
    text, questions = as_toml(path.name, kept, days, idle)
    return Proposal(text, tuple(questions))
