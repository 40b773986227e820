"""The words of choice columns that the vocabulary does not know, each asked for beside what it may mean."""

from __future__ import annotations

import json
from collections import Counter
from typing import TYPE_CHECKING

from bobstay.vocabulary import load, word_list

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from bobstay.propose.guessing import Guess
    from bobstay.tables import InputColumn

_ASKED = 30  # words of one column that are asked for; the rest are counted


def words_of(guesses: Iterable[Guess]) -> Iterator[str]:
    """Yield the lines of [words], all of them comments: what a word means is for a person to say."""
    for name, counts in _unknown(guesses).items():
        yield f"# [words.{name}]"
        for word, rows in sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:_ASKED]:
            meant = [proposal.canonical for proposal in load().proposals(name, word)]
            shown = json.dumps("".join(c if c.isprintable() else " " for c in word[:80]), ensure_ascii=False)
            times = f"{rows} row says" if rows == 1 else f"{rows} rows say"
            asked = f"is it {' or '.join(meant)}" if meant else "what does it mean"
            yield f"# QUESTION: {times} {shown} in {name}: {asked}? until it is said here it tells nothing"
            yield f"# {meant[0] if meant else 'OUR_WORD'} = [{shown}]"
        if len(counts) > _ASKED:
            yield f"# and {len(counts) - _ASKED} other words that are not known"


def _unknown(guesses: Iterable[Guess]) -> dict[str, Counter[str]]:
    found: dict[str, Counter[str]] = {}
    for guess in guesses:
        pairs = [(ours, theirs.counts) for theirs, ours in guess.columns]
        results = next(c for c in guess.table.columns if c.name == "result") if guess.wide else None
        pairs += [(results, theirs.counts) for theirs in guess.wide if results]
        for ours, counts in pairs:
            name = _asked_list(guess.table.name, ours)
            if name is None or (guess.shape == "boat" and name == "result"):
                continue
            unknown = Counter({w: n for w, n in counts.items() if load().canonical(name, w) is None})
            found[name] = found.get(name, Counter()) + unknown
    return {name: counts for name, counts in found.items() if counts}


def _asked_list(table: str, ours: InputColumn) -> str | None:
    """Return the word list of a column whose words must be known; types and materials may be a fleet's own."""
    return word_list(table, ours) if ours.kind in ("choice", "choices", "yes_no") else None
