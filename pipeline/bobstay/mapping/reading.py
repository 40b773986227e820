"""Reads a mapping file and refuses, with key, value and what is allowed, whatever it does not know."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path
from typing import Any

from bobstay.errors import UsageError
from bobstay.mapping.keys import allowed_here, known_keys, one_of, refused
from bobstay.mapping.parts import part_rule
from bobstay.mapping.record import SenderMapping, plain_heading
from bobstay.tables import INPUTS
from bobstay.vocabulary import CHOICES, Vocabulary, normalised
from bobstay.vocabulary import load as shipped
from bobstay.vocabulary.reading import extended

_TOP = {
    "sender": str,
    "files": list,
    "dates": str,
    "decimal": str,
    "delimiter": str,
    "empty": list,
    "words": dict,
}
ORDERS = ("dmy", "mdy", "ymd")
_COLUMNS = {column.name: column for table in INPUTS for column in table.columns}


def load(path: Path) -> SenderMapping:
    """Return the mapping that the file at `path` holds; raises UsageError naming key, value and what is allowed."""
    if not path.is_file():
        raise UsageError("the mapping file is not there", where=str(path), remedy="check its name")
    content = path.read_bytes()
    try:
        tree = tomllib.loads(content.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise UsageError(
            f"the mapping is not TOML: {fault}", where=path.name, remedy="`bobstay propose FILE` writes a first mapping"
        ) from fault
    return from_tree(tree, source=path.name, sha256=hashlib.sha256(content).hexdigest())


def from_tree(tree: dict[str, Any], *, source: str, sha256: str) -> SenderMapping:
    """Return the mapping that the parsed TOML `tree` says."""
    known_keys({k: v for k, v in tree.items() if k != "part"}, {**_TOP, "part": list}, source=source)
    vocabulary, words = _words(tree.get("words", {}), source)
    return SenderMapping(
        source=source,
        sha256=sha256,
        files=_files(tree, source),
        parts=_parts(tree.get("part"), source),
        vocabulary=vocabulary,
        dates=one_of(tree["dates"], ORDERS, source=source, key="dates") if "dates" in tree else None,
        decimal=one_of(tree.get("decimal", "."), (".", ","), source=source, key="decimal"),
        delimiter=one_of(tree["delimiter"], (",", ";", "\t", "|"), source=source, key="delimiter")
        if "delimiter" in tree
        else None,
        empty=frozenset(map(plain_heading, tree.get("empty", []))),
        words=words,
    )


def _files(tree: dict[str, Any], source: str) -> tuple[str, ...]:
    if not tree.get("files"):
        remedy = 'write files = ["norte_*.xlsx"]: patterns of the names of the files it is for'
        raise refused("it does not say which files it is for", source=source, key="files", value=[], remedy=remedy)
    return tuple(tree["files"])


def _parts(parts: Any, source: str) -> tuple[Any, ...]:
    if not isinstance(parts, list) or not parts or not all(isinstance(part, dict) for part in parts):
        remedy = 'write [[part]] and under it table = "inspections", then [part.columns]'
        raise refused("it has no part", source=source, key="part", value=parts, remedy=remedy)
    return tuple(part_rule(part, source=source, key=f"part {n}") for n, part in enumerate(parts, start=1))


def _words(tree: dict[str, Any], source: str) -> tuple[Vocabulary, dict[str, dict[str, str]]]:
    """Return the vocabulary with the sender's words for our choices, and what is put in place of other cells."""
    allowed = list(dict.fromkeys([*_COLUMNS, *CHOICES]))
    replaced: dict[str, dict[str, str]] = {}
    for column, entries in tree.items():
        key = f"words.{column}"
        if column not in allowed:
            remedy = allowed_here(column, allowed)
            raise refused(f"no words are kept for {column}", source=source, key=key, value=entries, remedy=remedy)
        if not isinstance(entries, dict):
            remedy = f'write [{key}] and under it OUR_WORD = ["their word", "another"]'
            raise refused(f"{key} is not a table of words", source=source, key=key, value=entries, remedy=remedy)
        if column not in CHOICES:
            replaced[column] = _replacements(entries, source, key)
    own = {column: entries for column, entries in tree.items() if column in CHOICES}
    return extended(shipped(), own, source=f"{source}, words"), replaced


def _replacements(entries: dict[str, Any], source: str, key: str) -> dict[str, str]:
    known_keys(entries, dict.fromkeys(entries, list), source=source, key=key)
    found: dict[str, str] = {}
    for ours, theirs in entries.items():
        for word in theirs:
            if found.setdefault(normalised(word) or word, ours) != ours:
                what = f"{word!r} is given to two words: {found[normalised(word) or word]} and {ours}"
                remedy = "leave it with one of the two"
                raise refused(what, source=source, key=f"{key}.{ours}", value=word, remedy=remedy)
    return found
