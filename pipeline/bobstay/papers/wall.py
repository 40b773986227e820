"""The sheet for the wall of a school: each boat, what is open, until when her clear looks count, when she is hauled."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.papers.worksheets import slot_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from bobstay.papers.source import Boat, Source
    from bobstay.report.fleet import Row

_WORDS = ("lead", "boat", "open", "until", "unseen", "yard")


def content(source: Source, fittings: Mapping[str, Sequence[Row]]) -> dict[str, Any]:
    """Return what the template sets, a row a boat in service; `fittings` are the priority list's rows by boat."""
    words = source.shared_words(source.say("wall.title")) | {name: source.say(f"wall.{name}") for name in _WORDS}
    boats = [_boat(source, boat, fittings[boat.boat_id]) for boat in source.boats if boat.boat_id in fittings]
    return {"words": words, "boats": boats}


def _boat(source: Source, boat: Boat, fittings: Sequence[Row]) -> dict[str, Any]:
    named = open_fittings(source, fittings)
    unseen = sum(row["list"] == "nobody_looked" for row in fittings)
    return {
        "name": boat.name,
        "boat_id": boat.boat_id if boat.boat_id != boat.name else "",
        "open": ", ".join(named) or source.say("wall.nothing_open"),
        "has_open": bool(named),
        "until": _until(source, fittings),
        "unseen": source.wording.forms.number(unseen),
        "yard": slot_of(source, boat),
    }


def _until(source: Source, fittings: Sequence[Row]) -> str:
    """Say how many parts have a clear look that counts after the as-of date, and when the first of them ends."""
    ends = [row["clear_until"] for row in fittings if row["clear_until"] and row["clear_until"] > source.as_of]
    if not ends:
        return source.say("wall.no_clear", n=len(fittings))
    return source.say("wall.counting", n=len(ends), all=len(fittings), day=min(ends))


def open_fittings(source: Source, fittings: Sequence[Row]) -> list[str]:
    """Return the parts with an open indication, each by its place and type."""
    acting = [row for row in fittings if row["action"] == "act_now"]
    return [f"{row['fitting_id']} {source.typed('type', row['fitting_type'])}" for row in acting]
