"""How alike two spellings are; used to propose, never to apply."""

from __future__ import annotations

from difflib import SequenceMatcher

from bobstay.vocabulary.normal import normalised, words_of

# Twice the letters in common over all letters: one wrong letter in four still shows (2 * 3 / 8). Chosen, no source.
ALIKE = 0.75
SHORTEST = 4  # below four letters every word is one letter from another

# Words that turn a sense round, in the shipped languages (common usage, from memory).
_NEGATIONS = frozenset(
    [
        *("no", "not", "non", "none", "nil", "without"),
        *("kein", "keine", "keinen", "keiner", "ohne", "nicht"),
        *("pas", "sans", "aucun", "aucune", "ne"),
        *("sin", "ningun", "ninguna"),
        *("nessun", "nessuna", "nessuno", "senza"),
        *("geen", "niet", "zonder"),
    ]
)


def alike(text: str, known: str) -> float:
    """Return from 0 to 1 how alike `text` and the word `known` are; 0 where one of them is too short to tell.

    A known word that stands whole within a longer text counts at least ALIKE, more the more of the text it is.
    """
    here, there = normalised(text), normalised(known)
    if min(len(here), len(there)) < SHORTEST:
        return 0.0
    if contains(text, known):
        return ALIKE + (1 - ALIKE) * SequenceMatcher(None, here, there, autojunk=False).ratio()
    if 2 * min(len(here), len(there)) < ALIKE * (len(here) + len(there)):  # the best the two lengths allow
        return 0.0
    return SequenceMatcher(None, here, there, autojunk=False).ratio()


def contains(text: str, known: str) -> bool:
    """Return whether the words of `known` stand, together and in order, among more words of `text`."""
    here, there = words_of(text), words_of(known)
    starts = range(len(here) - len(there) + 1) if there and len(here) > len(there) else ()
    return any(here[i : i + len(there)] == there for i in starts)


def negates(text: str) -> bool:
    """Return whether `text` holds a word that turns the sense round."""
    return any(word in _NEGATIONS or word.startswith("non") for word in words_of(text))
