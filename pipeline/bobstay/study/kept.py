"""Trials kept in a file as they are done, one a line, so that a study that is stopped goes on where it was."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay.errors import UsageError
from bobstay.study.trial import Trial

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Key = tuple[str, int, int]  # generator, boats, seed


class Kept:
    """The trials of a file (none: nothing is kept)."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.trials: dict[Key, Trial] = dict(_line(text, path) for text in _lines(path)) if path else {}

    def trial(self, key: Key, made: Callable[[], Trial]) -> Trial:
        """Return the trial of this key: the kept one, or a new one, which is kept."""
        if key not in self.trials:
            self.trials[key] = made()
            if self.path:
                with self.path.open("a", encoding="utf-8") as file:
                    file.write(json.dumps([list(key), _plain(self.trials[key])]) + "\n")
        return self.trials[key]


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines() if path.is_file() else []


def _plain(trial: Trial) -> dict[str, Any]:
    values = {field.name: getattr(trial, field.name) for field in fields(trial)}
    return {name: value.tolist() if isinstance(value, np.ndarray) else value for name, value in values.items()}


def _line(text: str, path: Path) -> tuple[Key, Trial]:
    try:
        (generator, boats, seed), values = json.loads(text)
        arrays: dict[str, Any] = {
            name: np.array(value) if isinstance(value, list) else value for name, value in values.items()
        }
        return (str(generator), int(boats), int(seed)), Trial(**arrays)
    except (ValueError, TypeError) as fault:
        raise UsageError(
            "a line of the kept trials cannot be read", where=str(path), remedy="delete that line, or the file"
        ) from fault
