"""Records of the vocabulary: one known word, and one proposal for an unknown one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Certainty = Literal["same", "ask"]
Why = Literal["ask", "fuzzy"]

# "any": signs of standards and the trade, the same in every language; "own": the user's own words.
LANGUAGES = ("any", "en", "de", "fr", "es", "it", "nl", "own")


@dataclass(frozen=True, slots=True)
class Synonym:
    """One known word of one column: what it stands for, its language, and whether it is applied or only proposed."""

    word: str
    canonical: str
    language: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class Proposal:
    """One known `word` that an unknown one may mean; `likeness` runs from 0 to 1.

    why = ask: the word itself is known, yet means too many things to be applied; fuzzy: it is spelled alike.
    """

    word: str
    canonical: str
    why: Why
    language: str
    likeness: float
