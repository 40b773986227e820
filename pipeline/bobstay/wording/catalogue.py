"""The tables of words as they stand in the package: read once, flat, each sentence cut at its placeholders."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from string import Formatter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

LANGUAGES = ("en", "de")
_NUMBERS = {"none", "one", "many"}  # forms of a sentence that counts by its placeholder {n}


@dataclass(frozen=True, slots=True)
class Piece:
    """A run of plain text, then a placeholder (name and kind; both empty at the end of the sentence)."""

    text: str
    name: str
    kind: str


Sentence = tuple[Piece, ...]


@cache
def catalogue(language: str) -> Mapping[str, Sentence]:
    """Return every sentence of `language` by key; one that counts has KEY.one, KEY.many and perhaps KEY.none."""
    return {key: pieces(text) for key, text in texts(language).items()}


@cache
def texts(language: str) -> Mapping[str, str]:
    """Return every sentence of `language` as written, by key."""
    folder = files("bobstay.wording").joinpath(language)
    found: dict[str, str] = {}
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        if file.name.endswith(".toml"):
            tree = tomllib.loads(file.read_text(encoding="utf-8"))
            found |= dict(_flat(tree, file.name.removesuffix(".toml")))
    return found


def _flat(tree: Mapping[str, Any], above: str) -> Iterator[tuple[str, str]]:
    for name, value in tree.items():
        key = f"{above}.{name}"
        if isinstance(value, str):
            yield key, value
        else:
            yield from _flat(value, key)


def pieces(text: str) -> Sentence:
    """Cut a sentence at its placeholders, written {name} or {name:kind}."""
    return tuple(Piece(plain, name or "", kind or "") for plain, name, kind, _ in Formatter().parse(text))


def counted(sentences: Mapping[str, Sentence], key: str, quantity: object) -> str:
    """Return the key of the form that `quantity` takes."""
    if quantity == 0 and f"{key}.none" in sentences:
        return f"{key}.none"
    return f"{key}.one" if quantity == 1 else f"{key}.many"


def is_form(key: str) -> bool:
    """Say whether a key ends in the name of a form."""
    return key.rpartition(".")[2] in _NUMBERS
