"""Which of our columns a heading surely names, in any of four languages, and which it may name."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

from bobstay.tables import INPUTS
from bobstay.vocabulary import normalised
from bobstay.vocabulary.likeness import ALIKE, alike

_BRACKETED = re.compile(r"[(\[].*?[)\]]")


@cache
def _headings() -> dict[str, tuple[str, ...]]:
    """Return our columns by the compared form of each heading that names them."""
    tree = tomllib.loads((files("bobstay.propose") / "headings.toml").read_text(encoding="utf-8"))
    found: dict[str, dict[str, None]] = {}
    for name in (column.name for table in INPUTS for column in table.columns):
        found.setdefault(normalised(name), {})[name] = None
    for column, languages in tree.items():
        for words in languages.values():
            for word in words:
                found.setdefault(normalised(word), {})[column] = None
    return {key: tuple(columns) for key, columns in found.items()}


def known_columns(heading: str) -> tuple[str, ...]:
    """Return the columns that `heading` surely names in one table or another; what stands in brackets is no matter."""
    bare = _BRACKETED.sub("", heading)
    return _headings().get(normalised(bare), ()) or _headings().get(normalised(_without_unit(bare)), ())


def _without_unit(heading: str) -> str:
    return re.sub(r"\s+(mm|cm|in|inch|°?[CF]|min|sec|s)\.?$", "", heading.strip(), flags=re.IGNORECASE)


def likely_columns(heading: str) -> tuple[str, ...]:
    """Return columns that `heading` may name, the likeliest first; to be asked, never applied."""
    last = heading.rpartition(" / ")[2]
    scored = [(alike(last, word), columns) for word, columns in _headings().items()]
    best = sorted((s for s in scored if s[0] >= ALIKE), key=lambda s: (-s[0], s[1]))
    return tuple(dict.fromkeys(name for _, columns in best for name in columns))[:3]
