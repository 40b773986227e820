"""What the fleet does not know and what was assumed, counted from the tables and said in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bobstay.report.words import count, number, percent, plain, share, years

if TYPE_CHECKING:
    from collections.abc import Iterable

    from bobstay.report.boats import Boat
    from bobstay.report.fleet import Fleet, Row


@dataclass(frozen=True, slots=True)
class Point:
    """One thing not known or assumed: its few words, its sentence, and where it comes from (assumed ones)."""

    head: str
    body: str
    source: str = ""


def unknowns(fleet: Fleet, boats: list[Boat]) -> list[Point]:
    """Return what is not known, the heaviest first; nothing is listed that does not apply."""
    found = (
        _nobody_looked(boats),
        _no_estimate(boats),
        _thin_classes(fleet.tables["classes"]),
        _worthless_looks(fleet),
        _follow_up(fleet.tables["detection"]),
        _ages(fleet.life_counts),
        _beyond(fleet.tables["guidance"]),
        _aside(fleet),
    )
    return [point for point in found if point is not None]


def _nobody_looked(boats: list[Boat]) -> Point | None:
    fittings = [f for b in boats for f in b.fittings]
    unseen = [f for f in fittings if f["list"] != "evidence"]
    whole = sum(bool(b.fittings) and all(f["list"] != "evidence" for f in b.fittings) for b in boats)
    if not unseen:
        return None
    also = f" On {count(whole, 'boat')} nobody has looked at any." if whole else ""
    return Point(
        f"{number(len(unseen))} of {number(len(fittings))} fittings: nobody has looked",
        f"{share(len(unseen), len(fittings))} of the fittings in service have no look that counts at the part now in "
        f"place; what is said of them rests on other boats.{also}",
    )


def _no_estimate(boats: list[Boat]) -> Point | None:
    missing = sum(b.unestimated for b in boats)
    if not missing:
        return None
    return Point(
        f"{count(missing, 'fitting')} without an estimate",
        "Too few findings of their kind for any chance to be worked out; they are listed by consequence and age.",
    )


def _thin_classes(classes: list[Row]) -> Point | None:
    weak = [c for c in classes if c["evidence"] != "enough"]
    if not weak:
        return None
    names = _listed(f"{c['fitting_type']}, {c['material']} ({number(c['event_count'])} found)" for c in weak)
    head = f"Thin or no evidence in {len(weak)} of {len(classes)} classes"
    return Point(head, f"{names}. Their intervals are wide.")


def _worthless_looks(fleet: Fleet) -> Point | None:
    total = sum(r["looks"] for r in fleet.look_worth) + fleet.whole_boat_looks
    below = sum(r["looks"] for r in fleet.look_worth if r["shows"] == "nothing" and r["grade"] == "below_minima")
    other = sum(r["looks"] for r in fleet.look_worth if r["shows"] == "nothing" and r["grade"] != "below_minima")
    lost = below + other + fleet.whole_boat_looks
    if not lost:
        return None
    return Point(
        f"{number(lost)} of {number(total)} looks tell nothing about a fitting",
        f"{number(below)} found nothing but were made below the method's minima, {number(other)} were inconclusive or "
        f"not carried out, {number(fleet.whole_boat_looks)} were of the whole boat. They are never taken as clear.",
    )


def _follow_up(detection: list[Row]) -> Point | None:
    findings = sum(r["indication_count"] or 0 for r in detection)
    if not findings:
        return None
    followed = sum((r["indication_count"] or 0) * (r["followed_up_share"] or 0.0) for r in detection) / findings
    return Point(
        f"{percent(followed)} % of {number(findings)} indications were followed up",
        "For the others nobody wrote down whether the crack was real; the chance that a look is a false call leans on "
        "the setting.",
    )


def _ages(counts: list[Row]) -> Point | None:
    serving = [r for r in counts if r["is_in_service"]]
    total, unsure = sum(r["lives"] for r in serving), sum(r["lives"] for r in serving if r["age_basis"] != "stated")
    if not unsure:
        return None
    return Point(
        f"{number(unsure)} of {number(total)} fittings in service have no stated day of installation",
        "Their age lies between what the boat's building and the first record allow.",
    )


def _beyond(guidance: list[Row]) -> Point | None:
    beyond = [f"{g['fitting_type']}, {g['material']}" for g in guidance if g["beyond_evidence"]]
    if not beyond:
        return None
    return Point(
        f"{count(len(beyond), 'class', 'classes')} with an age beyond the evidence",
        f"{_listed(beyond)}: fewer than the least number of parts were ever watched at that age.",
    )


def _aside(fleet: Fleet) -> Point | None:
    read, aside = (sum(f[k] for f in fleet.tables["files"]) for k in ("rows_read", "rows_set_aside"))
    if not aside:
        return None
    return Point(
        f"{number(aside)} of {number(read)} rows set aside",
        f"Mostly: {fleet.set_aside[0]['reason']}. Every row and reason is on the page of records.",
    )


def _listed(names: Iterable[str], most: int = 4) -> str:
    every = list(names)
    rest = f" and {len(every) - most} more" if len(every) > most else ""
    return "; ".join(every[:most]) + rest


def assumptions(fleet: Fleet) -> list[Point]:
    """Return what was assumed, with the setting each comes from."""
    s = fleet.settings
    growth = years(s.guidance.growth_years_otherwise)
    units = ", ".join(f"{k} = {number(v)}" for k, v in sorted(s.consequence.units.items()))
    pairs = (
        (f"Growth from a crack that shows to a break: {growth} years at the median",
         "Parts that show an indication are taken out, so this is never in the records. It sets the retest interval.",
         "guidance.growth_years_otherwise"),
        (f"Cost units of the consequence classes: {units}",
         f"Ranking is by chance times these units. One unit stands for {number(s.plan.money_per_unit)} of your money.",
         "consequence.4"),
        (_detection_head(fleet), "Each method starts from such a setting and is moved by your own records where they "
         "say enough; the page of evidence shows both.", "detection.penetrant.found"),
        (f"A crack left in place fails within the horizon {percent(s.costs.failure)} times in 100",
         "It weighs testing and renewing against leaving.", "costs.failure"),
        ("Limits of chance that set the ages to test and renew",
         f"Test limit of class 4: {percent(s.guidance.test_limit[4])} %; renew limit: "
         f"{percent(s.guidance.replace_limit[4])} %. Nobody publishes such limits for sailing boats.",
         "guidance.test_limit.4"),
        ("Boats that joined late", f"A crack from before joining had been taken out with a chance of "
         f"{percent(s.estimate.late_joiner_cleared)} %.", "estimate.late_joiner_cleared"),
    )  # fmt: skip
    return [Point(head, body, f"{key}, {s.sources.get(key, 'default')}") for head, body, key in pairs]


def _detection_head(fleet: Fleet) -> str:
    if fleet.settings.estimate.detection == "perfect":
        return "Every look shows every crack, and only cracks"
    used = [r for r in fleet.tables["detection"] if r["look_count"]]
    if not used:
        return "How surely each method shows a crack"
    most = max(used, key=lambda r: (r["look_count"], r["method"]))
    where = "part removed" if most["scope"] == "removed" else "in place"
    return f"A {plain(most['method'])} look ({where}) shows a crack {percent(most['found_prior'])} times in 100"
