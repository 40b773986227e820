"""The answer at the head of the fleet page: few numbers, each with its bounds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from bobstay.report.spans import months_on
from bobstay.wording.forms import known

if TYPE_CHECKING:
    from bobstay.report.boats import Boat
    from bobstay.report.fleet import Fleet, Row


@dataclass(frozen=True, slots=True)
class Answer:
    """What a yard acts on first.

    `expected_low` and `expected_high` sum the ends of the single intervals: bounds at the outside, for errors that all
    go one way.
    """

    fittings: int
    estimated: int
    expected: float
    expected_low: float
    expected_high: float
    act_boats: int
    first: list[Boat]
    acting: list[Row]  # open indications
    evidence: list[Row]  # the rest of the list of evidence
    nobody: list[Row]
    types: list[str]
    horizon_end: date
    looks: int
    tenth_share: float | None  # share of the expected cracks that the tenth with the highest chances holds


def answer_of(fleet: Fleet, boats: list[Boat]) -> Answer:
    """Work out the answer from the priority list and the boats in their order."""
    rows = fleet.tables["priority"]
    told = [r for r in rows if known(r["chance"])]
    expected = sum(r["chance"] for r in told)
    return Answer(
        fittings=len(rows),
        estimated=len(told),
        expected=expected,
        expected_low=sum(r["chance_lower"] for r in told if known(r["chance_lower"])),
        expected_high=sum(r["chance_upper"] for r in told if known(r["chance_upper"])),
        act_boats=sum(bool(b.open_fittings) for b in boats),
        first=[b for b in boats if b.fittings],
        acting=[r for r in rows if r["action"] == "act_now"],
        evidence=[r for r in rows if r["list"] == "evidence" and r["action"] != "act_now"],
        nobody=[r for r in rows if r["list"] != "evidence" and r["action"] != "act_now"],
        types=_types(rows),
        horizon_end=months_on(fleet.as_of, fleet.settings.horizon_months),
        looks=sum(r["looks"] for r in fleet.look_worth if r["shows"] != "nothing"),
        tenth_share=_tenth(sorted((r["chance"] for r in told), reverse=True), expected),
    )


def ages_in_words(fleet: Fleet) -> str:
    """Return which class is tested first and how many have an age to renew at; empty where no class has an age."""
    rows = fleet.tables["guidance"]
    aged = [g for g in rows if known(g["test_from_years"])]
    if not aged:
        return ""
    first = min(aged, key=lambda g: (g["test_from_years"], g["fitting_type"], g["material"]))
    return fleet.wording.say(
        "index.ages_words",
        n=sum(known(g["replace_by_years"]) for g in rows),
        of=len(rows),
        type=first["fitting_type"],
        material=first["material"],
        age=first["test_from_years"],
    )


def _types(rows: list[Row]) -> list[str]:
    """Return fitting types by the worst consequence among them, then by name."""
    worst: dict[str, int] = {}
    for row in rows:
        worst[row["fitting_type"]] = max(worst.get(row["fitting_type"], 0), row["consequence"])
    return sorted(worst, key=lambda t: (-worst[t], t))


def _tenth(chances: list[float], total: float) -> float | None:
    return sum(chances[: -(-len(chances) // 10)]) / total if total > 0 else None
