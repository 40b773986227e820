"""The content of a boat's worksheet on paper: her lines in groups as the work goes, each in words."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

from bobstay.tables import RESULTS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from bobstay.papers.source import Boat, Source
    from bobstay.report.fleet import Row

_HEADS = (
    "code", "what", "why", "method", "taken_off", "cleaned", "dwell", "developed", "coverage", "replaced_by",
    "initials", "as_planned", "day", "inspector", "penetrant", "developer", "signature", "nothing", "besides",
)  # fmt: skip
LOWEST_C, HIGHEST_C = 10, 50  # of a penetrant test without further proof (ISO 3452-2)


def content(source: Source, boats: Iterable[Boat], *, title: str) -> dict[str, Any]:
    """Return what the template sets: the words of the sheet, and each boat with her groups of lines."""
    units = source.settings.words
    words: dict[str, Any] = source.shared_words(title) | {name: source.say(f"worksheet.{name}") for name in _HEADS}
    words["results"] = [source.say(f"short_result.{result}") for result in RESULTS]
    words["at_work"] = source.wording.say("common.at_work")
    words["minima"] = source.say("worksheet.minima", low=LOWEST_C, high=HIGHEST_C)
    words["temperature"] = source.say(
        f"worksheet.temperature{'_fahrenheit' * (units.temperature_unit == 'fahrenheit')}"
    )
    words["length"] = source.say(f"worksheet.length{'_inch' * (units.length_unit == 'inch')}")
    return {"words": words, "boats": [_boat(source, boat) for boat in boats]}


def _boat(source: Source, boat: Boat) -> dict[str, Any]:
    facts = [boat.boat_id] if boat.name != boat.boat_id else []
    facts += [str(boat.facts[key]) for key in ("design", "home_port") if boat.facts[key]]
    groups = groupby(boat.lines, key=lambda line: _group(source, line))
    return {
        "name": boat.name,
        "facts": ", ".join(facts),
        "slot": slot_of(source, boat),
        "groups": [
            {"title": title, "note": note, "lines": [line_words(source, line) for line in lines]}
            for (title, note), lines in groups
        ],
    }


def slot_of(source: Source, boat: Boat) -> str:
    """Say where and when the boat is in the yard."""
    visits = sorted({(line["starts_on"], line["slot_id"]) for line in boat.lines if line["slot_id"]})
    if not visits:
        return source.say("no_slot")
    day, slot = visits[0]
    return source.say("slots" if len(visits) > 1 else "slot", slot=slot, day=day)


def _group(source: Source, line: Row) -> tuple[str, str]:
    access = source.wording.word("access", line["access"]) if line["access"] else ""
    if line["section"] == "act_now":
        return source.say("worksheet.act_now"), source.say("worksheet.act_now_note")
    if line["section"] == "plan":
        return source.say("worksheet.plan", slot=line["slot_id"], day=line["starts_on"]), access
    return source.say("worksheet.if_opened"), access


def line_words(source: Source, line: Row) -> dict[str, Any]:
    """Return one line in words: its code, what and where it is, what to do, and why."""
    return {
        "code": line["code"],
        "what": f"{line['fitting_id']}  {source.typed('type', line['fitting_type'])}",
        "where": where_of(source, line),
        "do": to_do(source, line),
        "why": why_of(source, line),
        "asks_method": bool(line["method"]),
    }


def where_of(source: Source, line: Row) -> str:
    """Say where on the boat the part is, and what it is made of."""
    position, material = source.wording.again(line["position"]), source.typed("material", line["material"])
    return ", ".join(part for part in (position, material) if part)


def to_do(source: Source, line: Row) -> str:
    """Say what is proposed: a test and its method, renewal, or to take the part out of use."""
    if line["action"] == "act_now":
        return source.say("worksheet.act_now_do")
    if line["action"] == "replace":
        return source.say("worksheet.renew_look")
    if not line["method"]:
        return source.say("worksheet.test_any")
    method = source.wording.word("method", line["method"])
    if not line.get("scope"):
        return source.say("worksheet.test", method=method)
    return source.say("worksheet.test_so", method=method, scope=source.wording.word("scope", line["scope"]))


def why_of(source: Source, line: Row) -> str:
    """Return notices and lots, the chance with its interval, the consequence class, and whether nobody has looked."""
    forms = source.wording.forms
    told = source.say("no_chance")
    if line["chance"] is not None:
        ends = forms.interval(line["chance_lower"], line["chance_upper"])
        told = source.say("chance", chance=line["chance"], interval=ends)
    words = source.wording.word("consequence", str(line["consequence"]))
    why = [source.say("worksheet.notice", notices=line["notices"])] if line["notices"] else []
    why += [source.say("worksheet.drawn")] if line["is_drawn"] else []
    why += [told, source.say("worksheet.consequence", consequence=line["consequence"], words=words)]
    why += [source.say("worksheet.nobody")] if line["list"] == "nobody_looked" else []
    return ", ".join(why)
