"""Looks words up: what surely says the same is applied, what may say it is proposed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bobstay.vocabulary.likeness import ALIKE, alike, contains, negates
from bobstay.vocabulary.lists import CHOICES
from bobstay.vocabulary.normal import normalised
from bobstay.vocabulary.record import Proposal, Synonym

# Words that make a look count as clear. They are never proposed from a part of what somebody wrote, nor from a doubt:
# "no indication at the port pin" says nothing of the starboard one.
_CLEAR = {
    "result": frozenset({"no_indication", "non_relevant", "false"}),
    "disposition": frozenset({"unfounded"}),
}


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Known words by column: `index` finds one by its compared form, `words` keeps them in the order of the files."""

    words: Mapping[str, tuple[Synonym, ...]]
    index: Mapping[str, Mapping[str, Synonym]]

    def canonical(self, column: str, word: str) -> str | None:
        """Return the canonical word that `word` surely means in `column`, or None; never by likeness.

        `column` is a word list (see `word_list`). Raises KeyError for a column that has none.
        """
        known = self.index[column].get(normalised(word))
        return known.canonical if known and known.certainty == "same" else None

    def proposals(self, column: str, word: str, n: int = 3) -> list[Proposal]:
        """Return up to `n` canonical words that `word` may mean in `column`, likeliest first; empty if it is known.

        To be shown and confirmed, never applied. Raises KeyError for a column that has no words.
        """
        if self.canonical(column, word) is not None:
            return []
        found = sorted(self._candidates(column, word), key=lambda p: (p.why, -p.likeness, p.word, p.canonical))
        nearest: dict[str, Proposal] = {}
        for proposal in found:
            nearest.setdefault(proposal.canonical, proposal)
        return list(nearest.values())[:n]

    def listing(self, column: str) -> tuple[Synonym, ...]:
        """Return every known word of `column`, the canonical ones included; raises KeyError for an unknown column."""
        return self.words[column]

    def _candidates(self, column: str, word: str) -> Iterator[Proposal]:
        yield from self._asked(column, word)
        for known in self.words[column]:
            likeness = alike(word, known.word)
            if likeness >= ALIKE and _may_mean(column, word, known):
                yield Proposal(known.word, known.canonical, "fuzzy", known.language, round(likeness, 4))

    def _asked(self, column: str, word: str) -> Iterator[Proposal]:
        """Propose what is known and to be asked, and what is known but for a question mark: `316?`."""
        key = normalised(word)
        doubted = self.index[column].get(key.rstrip("?"))
        known = self.index[column].get(key)
        if known is None and doubted and doubted.canonical not in _CLEAR.get(column, ()):
            known = doubted
        if known:
            yield Proposal(known.word, known.canonical, "ask", known.language, 1.0)


def _may_mean(column: str, word: str, known: Synonym) -> bool:
    """Return whether `known` may be proposed for `word`: no sense turned round, no clear look out of a part."""
    if column not in CHOICES:
        return True
    if negates(word) != negates(known.word):
        return False
    return known.canonical not in _CLEAR.get(column, ()) or not _is_doubtful(word, known.word)


def _is_doubtful(word: str, known: str) -> bool:
    """Return whether `word` says less, more, or something with more marks than `known`: no ground to call it clear."""
    is_marked = not normalised(word).isalnum()  # normalising keeps only marks that may change the sense
    return is_marked or contains(word, known) or contains(known, word)
