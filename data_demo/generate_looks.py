"""Visits to the boats of the invented demo fleet, and what each test shows on a part that is cracked or is not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from .generate_boats import CHARTER, CLUB, KINDS, SCHOOL
from .generate_truth import BELOW_MINIMA_FACTOR, DAYS_A_YEAR, FOLLOWED_UP, TESTS, Dice

if TYPE_CHECKING:
    from collections.abc import Iterator

    from .generate_boats import Boat
    from .generate_parts import Part

Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class Session:
    """One method used on one fitting type at one visit: what was true of it, and what was written down."""

    method: str
    scope: str
    below_minima: bool
    written: Row


@dataclass(frozen=True, slots=True)
class Visit:
    """One day on which fittings of a boat are looked at: the types, and the session of each."""

    boat: Boat
    day: date
    trigger: str
    inspector: str
    sessions: dict[str, Session]

    def session(self, fitting_type: str) -> Session:
        """Return the session of a type, made up on the spot where none was meant."""
        return self.sessions.get(fitting_type) or session(self.boat, self.day, fitting_type)


_METHODS: dict[str, dict[str, float]] = {
    CHARTER: {"visual": 42, "magnified": 20, "penetrant": 34, "eddy_current": 4},
    SCHOOL: {"visual": 32, "magnified": 24, "penetrant": 36, "fluorescent_penetrant": 8},
    CLUB: {"visual": 44, "magnified": 25, "penetrant": 28, "eddy_current": 2, "proof_load": 1},
}
_OF_TYPE: dict[str, dict[str, float]] = {
    "stem fitting": {"visual": 75, "magnified": 25},
    "keel bolt": {"visual": 55, "ultrasonic": 45},
    "rudder stock": {"visual": 50, "penetrant": 25, "ultrasonic": 25},
    "seacock": {"visual": 65, "magnified": 35},
    "exhaust elbow": {"visual": 55, "magnified": 45},
}
_TAKEN_OFF = {
    "visual": 0.15,
    "magnified": 0.35,
    "penetrant": 0.6,
    "fluorescent_penetrant": 1.0,
    "eddy_current": 0.3,
    "ultrasonic": 0.1,
    "proof_load": 0.0,
}
_SHARE_OF_TYPES = {CHARTER: 0.3, SCHOOL: 0.36, CLUB: 0.58}
_STAFF = {
    CHARTER: ("rigger 1", "rigger 2", "rigger 3"),
    SCHOOL: ("bosun 1", "bosun 2"),
    CLUB: ("member", "surveyor 1", "surveyor 2"),
}


def visits(boat: Boat) -> list[Visit]:
    """Return the scheduled visits to one boat, in order of day."""
    return [_visit(boat, day) for day in _days(boat) if boat.joined < day < boat.ends]


def _days(boat: Boat) -> Iterator[date]:
    if boat.owner == CLUB:
        yield from _club_days(boat)
        return
    for year in range(boat.joined.year, boat.ends.year + 1):
        dice = Dice("year", boat.boat_id, year)
        if boat.owner == CHARTER:  # the winter, when no guests are aboard
            yield date(year, 11, 5) + timedelta(days=dice.whole(0, 135))
        elif dice.happens(0.8):  # boats come out in rotation all year
            yield date(year, 1, 10) + timedelta(days=dice.whole(0, 330))


def _club_days(boat: Boat) -> Iterator[date]:
    dice = Dice("club days", boat.boat_id)
    day = boat.joined + timedelta(days=dice.whole(20, 700))
    while day < boat.ends:
        yield day
        winter = day + timedelta(days=round(dice.between(1.7, 5) * DAYS_A_YEAR))
        day = date(winter.year - (winter.month < 6), 11, 1) + timedelta(days=dice.whole(0, 150))


def _visit(boat: Boat, day: date) -> Visit:
    dice = Dice("visit", boat.boat_id, day)
    types = [t for t in KINDS if dice.happens(_SHARE_OF_TYPES[boat.owner])]
    sale = boat.owner == CLUB and not boat.joined_new and (day - boat.joined).days < 300
    inspector = dice.one_of(_STAFF[boat.owner])
    return Visit(boat, day, "sale" if sale else "scheduled", inspector, {t: session(boat, day, t) for t in types})


def session(boat: Boat, day: date, fitting_type: str, *, thorough: bool = False) -> Session:
    """Return the session of one fitting type on one day; `thorough` after a suspicion."""
    dice = Dice("session", boat.boat_id, day, fitting_type)
    weights = _OF_TYPE.get(fitting_type, _METHODS[boat.owner])
    if thorough:
        weights = {m: w for m, w in weights.items() if m != "visual"}
    method = dice.pick(weights)
    scope = "removed" if dice.happens(_TAKEN_OFF[method]) else "in_place"
    written = {"method": method, "scope": "" if scope == "in_place" and dice.happens(0.08) else scope}
    if method.endswith("penetrant"):
        below, minima = _minima(boat, dice)
        return Session(method, scope, below, written | minima)
    written["surface_cleaned"] = dice.pick({"yes": 4, "no": 1, "": 5})
    return Session(method, scope, False, written)


def _minima(boat: Boat, dice: Dice) -> tuple[bool, Row]:
    """Make up the conditions of a penetrant test, and which of them were written down."""
    cleaned = not dice.happens(0.04)
    temperature = _shed(boat, dice)
    dwell = 3 if dice.happens(0.05) else 5 * dice.whole(2, 6)
    developer = 5 if dice.happens(0.05) else 5 * dice.whole(2, 5)
    below = not cleaned or dwell < 5 or developer < 10 or not 10 <= temperature <= 50
    stated = [dice.happens(0.85) for _ in range(4)] if dice.happens(0.75) else [False] * 4
    cells = ("yes" if cleaned else "no", str(temperature), str(dwell), str(developer))
    names = ("surface_cleaned", "part_temp_c", "penetrant_dwell_min", "developer_dwell_min")
    return below, {n: c for n, c, told in zip(names, cells, stated, strict=True) if told}


def _shed(boat: Boat, dice: Dice) -> int:
    """Return the temperature of the part: a cold winter shed of 4 C is among them."""
    if boat.climate == "warm":
        return dice.whole(19, 33)
    if dice.happens(0.3 if boat.climate == "cold" else 0.1):
        return 4
    return dice.whole(11, 20)


@dataclass(frozen=True, slots=True)
class Look:
    """One look at one part: its row, what it showed, whether a crack was there, what followed."""

    part: Part
    day: date
    row: Row
    shows: bool
    cracked: bool

    @property
    def action(self) -> str:
        """Return what was done."""
        return self.row.get("action", "")


def look(part: Part, day: date, used: Session, *, trigger: str, inspector: str) -> Look:
    """Test one part once, by the true chances of the method."""
    dice = Dice("look", part.boat.boat_id, part.place.fitting_id, day)
    cracked = part.onset <= day
    test = TESTS[used.method]
    found = test.found(used.scope) * (BELOW_MINIMA_FACTOR if used.below_minima else 1)
    row = _row(part.boat, part.place.fitting_id, day, trigger, inspector) | used.written
    if trigger == "scheduled" and dice.happens(0.035):
        unread = dice.pick({"inconclusive": 1, "not_inspected": 1})
        return Look(part, day, row | {"result": unread, "action": "none"}, False, cracked)
    if not dice.happens(found if cracked else test.false_call):
        return Look(part, day, row | {"result": "no_indication", "action": "none"}, False, cracked)
    return Look(part, day, row | _size(part, day, dice) | _followed(cracked, dice), True, cracked)


def _row(boat: Boat, fitting_id: str, day: date, trigger: str, inspector: str) -> Row:
    return {
        "boat_id": boat.boat_id,
        "fitting_id": fitting_id,
        "inspected_on": day.isoformat(),
        "trigger": trigger,
        "inspector": inspector,
    }


def _size(part: Part, day: date, dice: Dice) -> Row:
    years = max((day - part.onset).days / DAYS_A_YEAR, 0) if part.onset <= day else 0.0
    length = (1.0 + 1.2 * years) * dice.between(0.6, 1.8)
    linear = dice.happens(0.85 if years else 0.4)
    if dice.happens(0.2):
        return {}
    return {"indication_form": "linear" if linear else "rounded", "indication_length_mm": f"{length:.1f}"}


def _followed(cracked: bool, dice: Dice) -> Row:
    """Say what was made of an indication; without a follow-up nothing here depends on the truth."""
    if not dice.happens(FOLLOWED_UP):
        action = dice.pick({"replaced": 70, "none": 30})
        return {"result": "relevant", "disposition": dice.pick({"open": 1, "": 1}), "action": action}
    if cracked:
        action = dice.pick({"replaced": 84, "none": 12, "removed": 4})
        return {"result": "relevant", "disposition": "confirmed", "action": action}
    result = dice.pick({"relevant": 6, "non_relevant": 3, "false": 1})
    return {
        "result": result,
        "disposition": "unfounded" if result == "relevant" else dice.pick({"unfounded": 1, "": 1}),
        "action": "blended" if result == "non_relevant" and dice.happens(0.3) else "none",
    }


def failure(part: Part, day: date) -> Look:
    """Return the row of a part that broke or leaked in service."""
    row = _row(part.boat, part.place.fitting_id, day, "incident", "skipper")
    told = {"method": "visual", "result": "failed", "disposition": "confirmed", "action": "replaced"}
    return Look(part, day, row | told | {"note": "failed in service"}, True, True)


def whole_boat(visit: Visit) -> Row:
    """Return a row that speaks of the whole boat, as surveys do."""
    row = _row(visit.boat, "", visit.day, visit.trigger, visit.inspector)
    return row | {"method": "visual", "result": "no_indication", "note": "rig looked over, seems in order"}
