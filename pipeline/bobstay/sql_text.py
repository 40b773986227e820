"""Texts written into SQL where no parameter can stand."""

from __future__ import annotations


def quoted(text: str) -> str:
    """Return `text` as an SQL string literal."""
    return "'" + text.replace("'", "''") + "'"
