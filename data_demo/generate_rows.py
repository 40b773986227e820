"""Rows of the invented demo fleet's files, in the canonical form, and the rows that are wrong on purpose."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from .generate_boats import CHARTER, CLUB, KINDS, SCHOOL
from .generate_truth import AS_OF, Dice

if TYPE_CHECKING:
    from .generate_boats import Boat
    from .generate_history import History, Life
    from .generate_looks import Row

OWNER_FILES = {CHARTER: "inspections_charter", SCHOOL: "inspections_school", CLUB: "inspections_club"}
_LETTERS = {CHARTER: "C", SCHOOL: "S", CLUB: "M"}


def boat_row(boat: Boat) -> Row:
    """Return a boat as her owner records her."""
    dice = Dice("boat row", boat.boat_id)
    joined = str(boat.joined.year) if not boat.joined_new and dice.happens(0.1) else boat.joined.isoformat()
    return {
        "boat_id": boat.boat_id,
        "boat_name": boat.boat_name,
        "design": boat.design,
        "built": boat.built.isoformat() if boat.joined_new else str(boat.built.year),
        "joined": joined,
        "left": boat.left.isoformat() if boat.left else "",
        "left_reason": boat.left_reason,
        "service": boat.service,
        "water": boat.water,
        "climate": boat.climate,
        "hours_per_year": str(boat.hours_per_year),
        "home_port": boat.home_port,
        "owner": boat.owner,
    }


def fitting_rows(past: History) -> list[Row]:
    """Return the installations that were written down; parts renewed without a word have no row."""
    rows: list[Row] = []
    for life in sorted(past.lives, key=lambda one: (one.part.place.fitting_id, one.part.number)):
        if life.part.has_row:
            rows.append(_fitting_row(life))
        if life.removal_reason:
            rows[-1] |= {"removed": life.ended.isoformat(), "removal_reason": life.removal_reason}
    return rows


def _fitting_row(life: Life) -> Row:
    part, place = life.part, life.part.place
    dice = Dice("fitting row", part.boat.boat_id, place.fitting_type)
    return {
        "boat_id": part.boat.boat_id,
        "fitting_id": place.fitting_id,
        "fitting_type": place.fitting_type,
        "material": part.material,
        "installed": part.installed_text,
        "position": place.position,
        "supplier": part.supplier,
        "batch": part.batch,
        "through_deck": "" if dice.happens(0.08) else "yes" if place.through_deck else "no",
        "access": place.access,
        "consequence": str(place.consequence) if dice.happens(0.3) else "",
    }


def inspection_rows(pasts: list[History], owner: str) -> list[Row]:
    """Return the looks of one owner's boats, by day, numbered."""
    rows = [one.row for p in pasts if p.boat.owner == owner for one in p.looks]
    rows += [row for p in pasts if p.boat.owner == owner for row in p.whole_boat_rows]
    rows.sort(key=lambda r: (r["inspected_on"], r["boat_id"], r["fitting_id"]))
    return [{"inspection_id": f"{_LETTERS[owner]}{n:05d}"} | _blurred(r) for n, r in enumerate(rows, start=1)]


def _blurred(row: Row) -> Row:
    """Write the day of some of the club's clear looks as a month only."""
    dice = Dice("blur", row["boat_id"], row["inspected_on"])
    if row["boat_id"].startswith("M") and row["result"] == "no_indication" and dice.happens(0.04):
        return row | {"inspected_on": row["inspected_on"][:7]}
    return row


def slot_rows() -> list[Row]:
    """Return 26 weeks of two yards: a slip that hauls one boat a week, and a mast crane for one every other week."""
    rows = []
    for week in range(26):
        day = date(2026, 11, 2) + timedelta(weeks=week)
        closed = day in {date(2026, 12, 21), date(2026, 12, 28)}
        slip = {"boats_max": "1", "hours_max": "42", "access": "afloat;aloft;engine_bay;mast_out;hauled;keel_off"}
        crane = {"boats_max": "1", "hours_max": "32", "access": "afloat;aloft;engine_bay;mast_out"}
        for slot, offer in (("slip", slip), ("mast crane", crane)):
            shut = {"boats_max": "0", "hours_max": "0"} if closed or (slot != "slip" and week % 2) else {}
            rows.append({"slot_id": slot, "starts_on": day.isoformat()} | offer | shut)
    return rows


def availability_rows(boats: list[Boat]) -> list[Row]:
    """Return when boats may be out: charter from November to March, school in rotation, club in winter."""
    rows = []
    for n, boat in enumerate(b for b in boats if b.left is None or b.left > AS_OF):
        first, last = date(2026, 11, 1), date(2027, 3, 31)
        if boat.owner == SCHOOL:
            first = date(2026, 11, 2) + timedelta(weeks=3 * (n % 7))
            last = first + timedelta(weeks=5, days=-1)
        elif boat.owner == CLUB:
            first, last = date(2026, 11, 9), date(2027, 4, 25)
        if boat.boat_id not in {"M05", "M11"}:
            rows.append({"boat_id": boat.boat_id, "from": first.isoformat(), "to": last.isoformat()})
    return rows


# Invented prices: money, hours.
_ACCESS_PRICES = {
    "afloat": (0, 0),
    "aloft": (120, 1),
    "engine_bay": (60, 1),
    "mast_out": (1400, 6),
    "hauled": (900, 3),
    "keel_off": (3800, 22),
}
_REPLACE_PRICES = {
    "chainplate": (380, 3),
    "stem fitting": (650, 4),
    "backstay plate": (320, 3),
    "mast tang": (210, 1.5),
    "swaged terminal": (140, 1),
    "turnbuckle": (160, 0.5),
    "toggle": (70, 0.3),
    "clevis pin": (25, 0.2),
    "spreader bracket": (280, 2),
    "gooseneck": (340, 1.5),
    "keel bolt": (220, 3),
    "rudder stock": (2600, 12),
    "pintle": (260, 2),
    "seacock": (190, 2),
    "stanchion base": (130, 1.5),
    "exhaust elbow": (310, 2),
}


def price_rows() -> list[Row]:
    """Return invented prices of each access, and of testing and renewing each type."""
    rows = [{"access": a, "cost": str(c), "hours": str(h)} for a, (c, h) in _ACCESS_PRICES.items()]
    for kind in KINDS:
        cost, hours = _REPLACE_PRICES[kind]
        rows.append({"fitting_type": kind, "action": "test", "cost": "35", "hours": "0.5"})
        rows.append({"fitting_type": kind, "action": "replace", "cost": str(cost), "hours": str(hours)})
    return rows
