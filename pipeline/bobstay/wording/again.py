"""Reads the English sentences that stages keep in the store, so that they can be said in another language.

A stage writes whole sentences (`reason`, `note`, `assumption`) and the store keeps them in English, the same for every
reader. Each has its form under `said` in the English tables; what a placeholder holds is found by its kind.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from bobstay.wording.catalogue import Sentence

# What a placeholder of each kind may hold; any other kind is a table word.
_HELD = {
    "": r".+?",
    "said": r".+?",
    "day": r"\d{4}-\d\d-\d\d",
    "written": r"[<>+-]?\d[\d,]*(?:\.\d+)?(?:e[+-]?\d+)?",
}
_WORD = r"[a-z0-9_][a-z0-9_ -]*?"
USERS_WORDS = {"type", "material"}  # words that users choose: anything at all
_AFTER = r"(?<![,;:])(?=$|\s)"
_SHORT = 8  # letters of its own below which a sentence is known only where it is the whole text
_LIST_MARKS = ("; ", ", ")


@dataclass(frozen=True, slots=True)
class Heard:
    """A sentence that is known: its key and what its placeholders hold."""

    key: str
    values: Mapping[str, Any]


class Listener:
    """Knows sentences by their English forms."""

    def __init__(self, sentences: Mapping[str, Sentence]) -> None:
        self._by_start: dict[str, list[tuple[str, tuple[re.Pattern[str], ...], Sentence]]] = {}
        for key, sentence in sorted(sentences.items(), key=lambda item: (-_plain_length(item[1]), item[0])):
            start = sentence[0].text.split(" ", 1)[0] if " " in sentence[0].text else ""
            self._by_start.setdefault(start, []).append((key, _patterns(sentence), sentence))
        self.heard = lru_cache(maxsize=65536)(self._heard)

    def _heard(self, text: str) -> tuple[Heard | str, ...]:
        """Cut a text into sentences that are known and runs of text that are not.

        Where that leaves a rest, the text may be a list: it is one if every part of it is known.
        """
        whole = self._sentences(text)
        if not _has_rest(whole):
            return whole
        for mark in _LIST_MARKS:
            parts = [self.heard(part) for part in text.split(mark)] if mark in text else []
            if parts and not any(map(_has_rest, parts)):
                return tuple(piece for i, part in enumerate(parts) for piece in ((_mark(mark),) if i else ()) + part)
        return whole

    def _sentences(self, text: str) -> tuple[Heard | str, ...]:
        found: list[Heard | str] = []
        unknown, at = 0, 0
        while at < len(text):
            hit = self._at(text, at) if at == 0 or text[at - 1].isspace() else None
            if hit is None:
                at += 1
                continue
            if text[unknown:at].strip():
                found.append(text[unknown:at])
            elif unknown < at:
                found.append(_mark(text[unknown:at]))
            found.append(hit[0])
            unknown = at = hit[1]
        return (*found, text[unknown:]) if unknown < len(text) else tuple(found)

    def _at(self, text: str, at: int) -> tuple[Heard, int] | None:
        start = text[at:].split(" ", 1)[0]
        for key, patterns, sentence in (*self._by_start.get(start, ()), *self._by_start.get("", ())):
            for pattern in patterns:
                hit = pattern.match(text, at)
                if hit and (at == 0 or _plain_length(sentence) >= _SHORT) and self._knows(hit, sentence):
                    return Heard(key, dict(_values(hit, sentence))), hit.end()
        return None

    def _knows(self, hit: re.Match[str], sentence: Sentence) -> bool:
        """Say whether sentences held in a sentence are known too."""
        return not any(_has_rest(self.heard(hit[p.name])) for p in sentence if p.kind == "said")


def _mark(text: str) -> Heard:
    """Return what stands between sentences, the same in every language."""
    return Heard("", {"": text})


def _has_rest(pieces: tuple[Heard | str, ...]) -> bool:
    return any(isinstance(piece, str) for piece in pieces)


def _plain_length(sentence: Sentence) -> int:
    return sum(len(piece.text) for piece in sentence)


def _patterns(sentence: Sentence) -> tuple[re.Pattern[str], ...]:
    """Return the forms to try: one that ends in a placeholder may run to the end of the text, or to its next word."""
    parts = [re.escape(p.text) + (f"(?P<{p.name}>{_held(p.kind)})" if p.name else "") for p in sentence]
    whole, within = (re.compile("".join(parts) + end, re.DOTALL) for end in (r"\Z", _AFTER))
    if _plain_length(sentence) < _SHORT:
        return (whole,)
    return (whole, within) if sentence[-1].name else (within,)


def _held(kind: str) -> str:
    return r"[^,;:]+?" if kind in USERS_WORDS else _HELD.get(kind, _WORD)


def _values(hit: re.Match[str], sentence: Sentence) -> Iterator[tuple[str, Any]]:
    for piece in sentence:
        if piece.name:
            held = hit[piece.name]
            yield piece.name, date.fromisoformat(held) if piece.kind == "day" else held
