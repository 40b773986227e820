"""Texts written into SQL where no parameter can stand."""

from __future__ import annotations


def quoted(text: str) -> str:
    """Return `text` as an SQL string literal."""
    return "'" + text.replace("'", "''") + "'"


def file_named(files: str) -> str:
    """Return SQL for the name under which a file, or a sheet of it, is told; `files` is the alias of that table.

    `changes.named` says the same of a file in Python.
    """
    return f"{files}.file || CASE WHEN {files}.part = '-' THEN '' ELSE ' [' || {files}.part || ']' END"
