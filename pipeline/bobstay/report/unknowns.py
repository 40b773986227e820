"""What the fleet does not know and what was assumed, counted from the tables and said in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

    from bobstay.report.boats import Boat
    from bobstay.report.fleet import Fleet, Row
    from bobstay.wording import Wording


@dataclass(frozen=True, slots=True)
class Point:
    """One thing not known or assumed: its few words, its sentence, and where it comes from (assumed ones)."""

    head: str
    body: str
    source: str = ""


def unknowns(fleet: Fleet, boats: list[Boat]) -> list[Point]:
    """Return what is not known, the heaviest first; nothing is listed that does not apply."""
    found = (
        _nobody_looked(fleet, boats),
        _no_estimate(fleet, boats),
        _thin_classes(fleet),
        _worthless_looks(fleet),
        _follow_up(fleet),
        _ages(fleet),
        _beyond(fleet),
        _aside(fleet),
    )
    return [point for point in found if point is not None]


def _point(wording: Wording, name: str, /, **values: Any) -> Point:
    return Point(wording.say(f"doubt.{name}.head", **values), wording.say(f"doubt.{name}.body", **values))


def _nobody_looked(fleet: Fleet, boats: list[Boat]) -> Point | None:
    fittings = [f for b in boats for f in b.fittings]
    unseen = sum(f["list"] != "evidence" for f in fittings)
    whole = sum(bool(b.fittings) and all(f["list"] != "evidence" for f in b.fittings) for b in boats)
    if not unseen:
        return None
    also = f" {fleet.wording.say('doubt.nobody_boats', n=whole)}" if whole else ""
    share = fleet.wording.forms.share(unseen, len(fittings))
    return _point(fleet.wording, "nobody", unseen=unseen, of=len(fittings), share=share, also=also)


def _no_estimate(fleet: Fleet, boats: list[Boat]) -> Point | None:
    missing = sum(b.unestimated for b in boats)
    return _point(fleet.wording, "no_estimate", n=missing) if missing else None


def _thin_classes(fleet: Fleet) -> Point | None:
    classes = fleet.tables["classes"]
    weak = [c for c in classes if c["evidence"] != "enough"]
    if not weak:
        return None
    names = (fleet.wording.say("doubt.class_found", name=fleet.class_name(c), found=c["event_count"]) for c in weak)
    return _point(fleet.wording, "thin", weak=len(weak), of=len(classes), names=_listed(fleet.wording, names))


def _worthless_looks(fleet: Fleet) -> Point | None:
    total = sum(r["looks"] for r in fleet.look_worth) + fleet.whole_boat_looks
    below = sum(r["looks"] for r in fleet.look_worth if r["shows"] == "nothing" and r["grade"] == "below_minima")
    other = sum(r["looks"] for r in fleet.look_worth if r["shows"] == "nothing" and r["grade"] != "below_minima")
    whole = fleet.whole_boat_looks
    lost = below + other + whole
    return (
        _point(fleet.wording, "worthless", lost=lost, of=total, below=below, other=other, whole=whole) if lost else None
    )


def _follow_up(fleet: Fleet) -> Point | None:
    rows = fleet.tables["detection"]
    findings = sum(r["indication_count"] or 0 for r in rows)
    if not findings:
        return None
    followed = sum((r["indication_count"] or 0) * (r["followed_up_share"] or 0.0) for r in rows) / findings
    return _point(fleet.wording, "follow_up", followed=followed, of=findings)


def _ages(fleet: Fleet) -> Point | None:
    serving = [r for r in fleet.life_counts if r["is_in_service"]]
    total, unsure = sum(r["lives"] for r in serving), sum(r["lives"] for r in serving if r["age_basis"] != "stated")
    return _point(fleet.wording, "ages", unsure=unsure, of=total) if unsure else None


def _beyond(fleet: Fleet) -> Point | None:
    beyond = [fleet.class_name(g) for g in fleet.tables["guidance"] if g["beyond_evidence"]]
    return _point(fleet.wording, "beyond", n=len(beyond), names=_listed(fleet.wording, beyond)) if beyond else None


def _aside(fleet: Fleet) -> Point | None:
    read, aside = (sum(f[k] for f in fleet.tables["files"]) for k in ("rows_read", "rows_set_aside"))
    if not aside:
        return None
    return _point(fleet.wording, "aside", aside=aside, of=read, reason=fleet.set_aside[0]["reason"])


def _listed(wording: Wording, names: Iterable[str], most: int = 4) -> str:
    every = list(names)
    rest = f" {wording.say('doubt.more', n=len(every) - most)}" if len(every) > most else ""
    return "; ".join(every[:most]) + rest


def assumptions(fleet: Fleet) -> list[Point]:
    """Return what was assumed, with the setting each comes from."""
    s, forms = fleet.settings, fleet.wording.forms
    units = ", ".join(f"{k} = {forms.number(v)}" for k, v in sorted(s.consequence.units.items()))
    return [
        _assumed(fleet, "growth", "guidance.growth_years_otherwise", years=s.guidance.growth_years_otherwise),
        _assumed(fleet, "units", "consequence.4", units=units, money=s.plan.money_per_unit),
        _detection(fleet),
        _assumed(fleet, "failure", "costs.failure", share=s.costs.failure),
        _assumed(fleet, "limits", "guidance.test_limit.4",
                 test=s.guidance.test_limit[4], renew=s.guidance.replace_limit[4]),
        _assumed(fleet, "late", "estimate.late_joiner_cleared", share=s.estimate.late_joiner_cleared),
    ]  # fmt: skip


def _assumed(fleet: Fleet, name: str, setting: str, /, **values: Any) -> Point:
    point = _point(fleet.wording, name, **values)
    source = fleet.settings.sources.get(setting, "default")
    return Point(point.head, point.body, f"{setting}, {fleet.wording.word('source', source)}")


def _detection(fleet: Fleet) -> Point:
    used: list[Row] = [r for r in fleet.tables["detection"] if r["look_count"]]
    setting = "detection.penetrant.found"
    if fleet.settings.estimate.detection == "perfect":
        return _assumed(fleet, "detection_perfect", setting)
    if not used:
        return _assumed(fleet, "detection_unused", setting)
    most = max(used, key=lambda r: (r["look_count"], r["method"]))
    point = _assumed(fleet, "detection", setting, method=most["method"], scope=most["scope"], found=most["found_prior"])
    return Point(point.head[:1].upper() + point.head[1:], point.body, point.source)
