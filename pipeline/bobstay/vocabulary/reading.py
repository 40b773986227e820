"""Reads the shipped words and a user's own, and refuses a word that two canonical words claim."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from bobstay.errors import UsageError
from bobstay.vocabulary.lists import CHOICES, WORD_LISTS
from bobstay.vocabulary.normal import normalised, unaccented
from bobstay.vocabulary.record import LANGUAGES, Certainty, Synonym
from bobstay.vocabulary.vocabulary import Vocabulary

_FORM = 'write [result] and under it no_indication = ["o.B.", "sans remarque"]'
_CERTAINTIES: tuple[Certainty, ...] = ("same", "ask")


def load(extra: Path | None = None) -> Vocabulary:
    """Return the shipped vocabulary, with the words of the TOML file `extra` added where one is given.

    Raises UsageError that names the key and the value at fault.
    """
    return _shipped() if extra is None else extended(_shipped(), _read(extra), source=extra.name)


def extended(vocabulary: Vocabulary, own: Mapping[str, Any], *, source: str) -> Vocabulary:
    """Return `vocabulary` with a user's own words added: column -> canonical word -> list of words, all applied.

    An own word overrides a shipped one that is only asked for, and clashes with one that is applied. A canonical word
    not known yet is taken up where the column is open (fitting_type, material). Raises UsageError.
    """
    words = dict(vocabulary.words)
    for column, entries in own.items():
        _check_column(column, entries, source)
        taken = tuple(_own_words(vocabulary, column, entries, source))
        keys = {k for synonym in taken for k in _keys(synonym.word)}
        kept = tuple(s for s in words[column] if s.certainty == "same" or keys.isdisjoint(_keys(s.word)))
        words[column] = kept + taken
    return _indexed(words, source)


@cache
def _shipped() -> Vocabulary:
    folder = files("bobstay.vocabulary") / "words"
    words: dict[str, tuple[Synonym, ...]] = {}
    for column in WORD_LISTS:
        name = f"{column}.toml"
        words[column] = tuple(_shipped_words(tomllib.loads((folder / name).read_text(encoding="utf-8")), name))
    return _indexed(words, "the shipped words")


def _shipped_words(tree: Mapping[str, Any], source: str) -> Iterator[Synonym]:
    for canonical, lists in tree.items():
        yield Synonym(canonical, canonical, "en", "same")
        if not lists.keys() <= set(_CERTAINTIES):
            raise ValueError(f"{source}: {canonical} has {sorted(lists)}, not only same and ask")
        for certainty in _CERTAINTIES:
            for language, words in lists.get(certainty, {}).items():
                if language not in LANGUAGES:
                    raise ValueError(f"{source}: {canonical}.{certainty} has the unknown language {language}")
                yield from (Synonym(word, canonical, language, certainty) for word in words)


def _read(path: Path) -> dict[str, Any]:
    if not path.is_file():
        raise UsageError("the file of own words is not there", where=str(path), remedy="check its name")
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(f"the file of own words is not TOML: {fault}", where=path.name, remedy=_FORM) from fault


def _check_column(column: str, entries: Any, source: str) -> None:
    if column not in WORD_LISTS:
        near = difflib.get_close_matches(column, WORD_LISTS, n=1)
        guess = f"did you mean {near[0]}? " if near else ""
        raise UsageError(
            f"no words are kept for {column}",
            where=f"{source}, key {column}, value {entries!r}",
            remedy=f"{guess}allowed here: {', '.join(WORD_LISTS)}",
        )
    if not isinstance(entries, dict):
        raise UsageError(
            f"{column} is not a table of words", where=f"{source}, key {column}, value {entries!r}", remedy=_FORM
        )


def _own_words(vocabulary: Vocabulary, column: str, entries: Mapping[str, Any], source: str) -> Iterator[Synonym]:
    for key, words in entries.items():
        canonical = _own_canonical(vocabulary, column, key, source)
        if not isinstance(words, list):
            raise _unusable(f"{column}.{key}", words, source)
        if canonical not in {s.canonical for s in vocabulary.words[column]}:
            yield Synonym(canonical, canonical, "own", "same")
        for word in words:
            if not isinstance(word, str) or not normalised(word):
                raise _unusable(f"{column}.{key}", word, source)
            yield Synonym(word, canonical, "own", "same")


def _own_canonical(vocabulary: Vocabulary, column: str, key: str, source: str) -> str:
    """Return the canonical word that `key` names, spelled as it is known; a new one where the column is open."""
    known = {normalised(s.canonical): s.canonical for s in vocabulary.words[column]}
    if normalised(key) in known:
        return known[normalised(key)]
    if column not in CHOICES and normalised(key):
        return " ".join(key.split())
    raise UsageError(
        f"{column} knows no word {key!r}",
        where=f"{source}, key {column}.{key}",
        remedy=f"allowed here: {', '.join(CHOICES.get(column, ()))}" if column in CHOICES else _FORM,
    )


def _unusable(key: str, value: object, source: str) -> UsageError:
    return UsageError(
        f"{key} has {value!r}, which is no word",
        where=f"{source}, key {key}, value {value!r}",
        remedy=_FORM,
    )


def _keys(word: str) -> set[str]:
    """Return the compared forms of a known word: as written, and as typed without accents (Pütting, Putting)."""
    return {normalised(word)} if word.isascii() else {normalised(word), normalised(unaccented(word))}


def _indexed(words: Mapping[str, Iterable[Synonym]], source: str) -> Vocabulary:
    index: dict[str, dict[str, Synonym]] = {}
    for column, synonyms in words.items():
        index[column] = {}
        for synonym in synonyms:
            for key in sorted(_keys(synonym.word)):
                _check_claims(index[column].setdefault(key, synonym), synonym, column, source)
    return Vocabulary({column: tuple(synonyms) for column, synonyms in words.items()}, index)


def _check_claims(first: Synonym, second: Synonym, column: str, source: str) -> None:
    if (first.canonical, first.certainty) != (second.canonical, second.certainty):
        raise UsageError(
            f"in {column}, {second.word!r} is claimed by {first.canonical!r} and by {second.canonical!r}",
            where=f"{source}, key {column}.{second.canonical}, value {second.word!r} (the other writes {first.word!r})",
            remedy="leave the word with one of the two",
        )
