"""Rules and notices from outside: which classes and parts they speak of, and the earliest age they set."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from bobstay.vocabulary import Vocabulary, load, normalised

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of an outside body; an empty fitting_type or material stands for all."""

    issuer: str
    fitting_type: str
    material: str
    kind: str  # test_from, retest or renew_by
    years: float
    source: str = ""

    def is_for(self, fitting_type: str, material: str) -> bool:
        """Say whether the rule speaks of this class."""
        return speaks_of("fitting_type", self.fitting_type, fitting_type) and speaks_of(
            "material", self.material, material
        )


def rules_of(frame: pd.DataFrame | None) -> tuple[Rule, ...]:
    """Return the rows of input table `rules` as rules; none without a table."""
    if frame is None or frame.empty:
        return ()
    words = ["issuer", "fitting_type", "material", "kind", "source"]
    cells = {name: [_text(cell) for cell in frame[name]] for name in words}
    rows = zip(*cells.values(), frame["years"], strict=True)
    return tuple(
        Rule(issuer, kind_of, material, kind, float(years), source)
        for issuer, kind_of, material, kind, source, years in rows
    )


def _text(cell: object) -> str:
    """Return a cell as text with single spaces, "" where it is empty."""
    return " ".join(cell.split()) if isinstance(cell, str) else ""


def strictest(rules: Sequence[Rule], kind: str, fitting_type: str, material: str) -> Rule | None:
    """Return the rule of `kind` with the earliest age for a class; the first by issuer where several share it."""
    mine = [rule for rule in rules if rule.kind == kind and rule.is_for(fitting_type, material)]
    return min(mine, key=lambda rule: (rule.years, rule.issuer, rule.source), default=None)


def speaks_of(column: str, asked: str, word: str) -> bool:
    """Say whether `asked` (empty: all) and `word` are one word, in any language and spelling that is known."""
    return not asked or _plain(column, asked) == _plain(column, word)


@cache
def _plain(column: str, word: str) -> str:
    known = _words().canonical(column, word) if column in ("fitting_type", "material") else None
    return known or normalised(word) or word


@cache
def _words() -> Vocabulary:
    return load()
