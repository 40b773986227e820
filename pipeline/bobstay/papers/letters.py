"""A letter to the owner of each boat: what the records say, what is proposed and why, and what the letter is not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.papers.wall import open_fittings
from bobstay.papers.worksheets import slot_of, to_do, where_of, why_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.papers.source import Boat, Source
    from bobstay.report.fleet import Row

_WORDS = ("what", "do", "why", "signature")


def content(source: Source, boat: Boat, fittings: Sequence[Row]) -> dict[str, Any]:
    """Return what the template sets: the letter about `boat`; `fittings` are her rows of the priority list."""
    subject = source.say("letter.subject", boat=boat.name)
    words = source.shared_words(subject) | {name: source.say(f"letter.{name}") for name in _WORDS}
    letter = {
        "sender": source.say("letter.sender", port=boat.facts["home_port"] or "-"),
        "addressee": source.say("letter.to_owner", boat=boat.name),
        "day": source.wording.forms.day(source.as_of),
        "subject": subject,
        "paragraphs": _paragraphs(source, boat, fittings),
        "lines": [_line(source, line) for line in boat.lines],
        "closing": [source.say("letter.closing"), f"{source.say('letter.not_this')} {source.caution}"],
    }
    return {"words": words, "letters": [letter]}


def _paragraphs(source: Source, boat: Boat, fittings: Sequence[Row]) -> list[str]:
    say = source.say
    told = [say("letter.opening"), say("letter.standing", boat=boat.name, n=len(fittings), day=source.as_of)]
    if acting := open_fittings(source, fittings):
        told.append(say("letter.open", fittings=", ".join(acting)))
    if boat.starts_on:
        told.append(say("letter.yard", slot=slot_of(source, boat)))
    else:
        told.append(say("letter.no_yard"))
    unseen = sum(row["list"] == "nobody_looked" for row in fittings)
    told += [say("letter.unseen", n=unseen)] if unseen else []
    return told if boat.lines else [*told, say("letter.nothing")]


def _line(source: Source, line: Row) -> dict[str, str]:
    what = f"{line['fitting_id']}  {source.typed('type', line['fitting_type'])}"
    return {"what": what, "where": where_of(source, line), "do": to_do(source, line), "why": why_of(source, line)}
