"""Looks at the keys and types of a mapping file: every error names the key, the value and what is allowed."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from bobstay.errors import UsageError

_KINDS = {str: "text", int: "a whole number", bool: "true or false", list: "a list of texts", dict: "a table"}


def refused(what: str, *, source: str, key: str, value: Any, remedy: str) -> UsageError:
    """Return the error that a mapping is wrong at `key`."""
    return UsageError(what, where=f"{source}, key {key}, value {_short(value)}", remedy=remedy)


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 200 else f"{text[:197]}..."


def allowed_here(given: str, allowed: Iterable[str]) -> str:
    """Return what is allowed, the nearest word first."""
    words = list(allowed)
    near = difflib.get_close_matches(given, words, n=1)
    return f"{f'did you mean {near[0]}? ' if near else ''}allowed here: {', '.join(words)}"


def known_keys(tree: Mapping[str, Any], allowed: Mapping[str, type], *, source: str, key: str = "") -> None:
    """Refuse keys that are not `allowed`, and values that are not of the type named there."""
    for name, value in tree.items():
        path = f"{key}.{name}" if key else name
        if name not in allowed:
            raise refused(
                f"unknown key {name}", source=source, key=path, value=value, remedy=allowed_here(name, allowed)
            )
        if not _is(value, allowed[name]):
            what = f"{path} must be {_KINDS[allowed[name]]}"
            raise refused(what, source=source, key=path, value=value, remedy=f"write {_KINDS[allowed[name]]}")


def _is(value: Any, kind: type) -> bool:
    if kind is list:
        return isinstance(value, list) and all(isinstance(item, str) for item in value)
    return isinstance(value, kind) and (kind is bool or not isinstance(value, bool))


def one_of(value: str, allowed: Iterable[str], *, source: str, key: str) -> str:
    """Return `value`, refused where it is not one of `allowed`."""
    words = list(allowed)
    if value not in words:
        raise refused(
            f"{key} cannot be {value}", source=source, key=key, value=value, remedy=allowed_here(value, words)
        )
    return value


def pattern(text: str, *, source: str, key: str) -> re.Pattern[str]:
    """Return the regular expression `text`, without regard to case."""
    try:
        return re.compile(text, re.IGNORECASE)
    except re.error as fault:
        what = f"{key} is no pattern: {fault}"
        remedy = "write a regular expression, or plain words"
        raise refused(what, source=source, key=key, value=text, remedy=remedy) from None
