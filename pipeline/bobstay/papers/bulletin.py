"""The bulletin for members: ages for each class of fitting in plain words, how to test, what to send back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.papers.worksheets import HIGHEST_C, LOWEST_C

if TYPE_CHECKING:
    from collections.abc import Sequence

    from bobstay.papers.source import Source
    from bobstay.report.fleet import Row

_WORDS = (
    "lead", "fitting", "consequence", "test_from", "retest", "renew_by", "rests_on", "marks", "how_title",
    "send_title", "send",
)  # fmt: skip
_FORM = ("boat", "fitting", "put_in", "day", "method", "result", "name")
_STEPS, _ON_INDICATION = 5, 4
_RULES = {"test_from": "test_from_rule", "retest": "retest_rule", "replace_by": "replace_by_rule"}


def content(source: Source, guidance: Sequence[Row]) -> dict[str, Any]:
    """Return what the template sets: a row a class, the steps of a test, the form to send back."""
    words = source.shared_words(source.say("guidance.title"))
    words |= {name: source.say(f"guidance.{name}") for name in _WORDS}
    words |= {
        "on_indication": source.wording.say("common.on_indication"),
        "at_work": source.wording.say("common.at_work"),
    }
    return {
        "words": words,
        "classes": [_class(source, row) for row in guidance],
        "steps": [_step(source, number) for number in range(1, _STEPS + 1)],
        "on_indication": [source.wording.say(f"common.on_indication_{n}") for n in range(1, _ON_INDICATION + 1)],
        "form": [source.say(f"guidance.form_{name}") for name in _FORM],
    }


def _step(source: Source, number: int) -> str:
    warmth = {"low": LOWEST_C, "high": HIGHEST_C} if number == 2 else {}
    return source.say(f"guidance.how_{number}", **warmth)


def _class(source: Source, row: Row) -> dict[str, Any]:
    found = source.say("guidance.lives", looked=row["looked_count"], found=row["found_count"])
    return {
        "type": source.typed("type", row["fitting_type"]),
        "material": source.typed("material", row["material"]),
        "consequence": source.wording.word("consequence", str(row["consequence"])),
        "test_from": _age(source, row, "test_from"),
        "retest": _age(source, row, "retest"),
        "renew_by": _age(source, row, "replace_by"),
        "rests_on": found,
    }


def _age(source: Source, row: Row, name: str) -> dict[str, str]:
    """Return an age with its bounds, or that of the rule from outside that comes first, with its issuer."""
    forms = source.wording.forms
    ours, rule = row[f"{name}_years"], row[f"{_RULES[name]}_years"]
    if rule is not None and (ours is None or rule < ours):
        issuer = str(row[f"{_RULES[name]}_by"] or "-")
        return {"age": forms.years(rule), "bounds": source.say("guidance.rule_by", issuer=issuer)}
    if ours is None:
        return {"age": source.say("guidance.not_set"), "bounds": ""}
    reach = row["oldest_years"]
    is_beyond = name != "retest" and row["beyond_evidence"] and reach is not None and ours >= reach
    bounds = forms.years_between(row[f"{name}_years_lower"], row[f"{name}_years_upper"])
    return {"age": forms.years(ours) + ("*" if is_beyond else ""), "bounds": bounds}
