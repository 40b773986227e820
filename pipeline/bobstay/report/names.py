"""What boats are called, and their files' names: made from their ids, never a path, never the same twice."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_LONGEST = 100
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)$", re.IGNORECASE)  # no file may be called so on some systems


def page_names(boat_ids: Iterable[str]) -> dict[str, str]:
    """Return a file name without ending for each id, different even where upper and lower case are one.

    Ascii letters, digits, - and _ stay; any other byte of the UTF-8 form becomes =XX; ~2, ~3 tell equal names apart.
    """
    taken: set[str] = set()
    names = {}
    for boat_id in sorted(set(boat_ids)):
        stem = _stem(boat_id)
        name, turn = stem, 1
        while name.casefold() in taken:
            turn += 1
            name = f"{stem}~{turn}"
        taken.add(name.casefold())
        names[boat_id] = name
    return names


def shown_names(names: Mapping[str, str | None]) -> dict[str, str]:
    """Return what each boat is called, by id: her name, with the id where two boats share it, or the id alone."""
    times = Counter(names.values())
    return {boat_id: _shown(boat_id, name, shared=times[name] > 1) for boat_id, name in names.items()}


def _shown(boat_id: str, name: str | None, *, shared: bool) -> str:
    if not name:
        return boat_id
    return f"{name} ({boat_id})" if shared else name


def _stem(boat_id: str) -> str:
    kept = "".join(c if re.fullmatch(r"[A-Za-z0-9_-]", c) else _escaped(c) for c in boat_id)[:_LONGEST]
    return f"{_escaped(kept[0])}{kept[1:]}" if _RESERVED.match(kept) else kept or "="


def _escaped(character: str) -> str:
    return "".join(f"={byte:02X}" for byte in character.encode("utf-8", "surrogatepass"))
