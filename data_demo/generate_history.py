"""Twenty years of one invented boat: visits, tests, renewals, failures, events; and the truth of each life."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

from .generate_boats import CHARTER, CLUB, SCHOOL, places
from .generate_looks import Visit, failure, look, session, visits, whole_boat
from .generate_parts import first_part, next_part
from .generate_truth import AS_OF, CRACK_TO_FAILURE_YEARS, DAYS_A_YEAR, RENEWED_AT, RENEWED_LATE_FACTOR, Dice

if TYPE_CHECKING:
    from .generate_boats import Boat, Place
    from .generate_looks import Look, Row
    from .generate_parts import Part

_RENEWING_SHARE = {CHARTER: 0.8, SCHOOL: 0.75, CLUB: 0.6}  # who renew at the usual age; others later
_OLD = 0.4  # of the age at which the type is renewed at the latest: from then on it is looked at more often
_OLD_LOOKED_AT = 0.45
_RENEWED_SOON = 0.6  # indications left in place on the day whose part is renewed within weeks
_EVENTS_A_YEAR = {"grounding": 0.05, "collision": 0.015, "lightning": 0.006, "refit": 0.012, "other": 0.004}
_EVENT_TYPES = {"grounding": "keel bolt;rudder stock", "collision": "stem fitting;stanchion base", "refit": "seacock"}
_EVENT_NOTES = {"grounding": "sand, one tide", "collision": "in a marina berth", "other": "storm ashore"}


@dataclass(frozen=True, slots=True)
class Life:
    """The truth of one life: the part, when and why it ended."""

    part: Part
    ended: date
    end_reason: str
    removal_reason: str = ""


@dataclass(slots=True)
class History:
    """Everything that happened on one boat; filled place by place."""

    boat: Boat
    looks: list[Look] = field(default_factory=list)
    lives: list[Life] = field(default_factory=list)
    whole_boat_rows: list[Row] = field(default_factory=list)
    events: list[Row] = field(default_factory=list)


def history(boat: Boat) -> History:
    """Live through the years of one boat."""
    past = History(boat, events=_events(boat))
    days = sorted(visits(boat) + _after_groundings(past.events, boat), key=lambda v: v.day)
    past.whole_boat_rows = [whole_boat(v) for v in days if _speaks_of_whole_boat(v)]
    for place in places(boat):
        run = _PlaceRun(boat, place)
        run.through(days)
        past.looks += run.looks
        past.lives += run.lives
    return past


def _speaks_of_whole_boat(visit: Visit) -> bool:
    share = {CLUB: 0.5, SCHOOL: 0.3, CHARTER: 0.12}[visit.boat.owner]
    return visit.trigger != "incident" and Dice("whole", visit.boat.boat_id, visit.day).happens(share)


def _events(boat: Boat) -> list[Row]:
    found = []
    for year in range(boat.joined.year, boat.ends.year + 1):
        for kind, rate in _EVENTS_A_YEAR.items():
            dice = Dice("event", boat.boat_id, year, kind)
            day = date(year, 1, 1) + timedelta(days=dice.whole(0, 364))
            if dice.happens(rate) and boat.joined < day < boat.ends:
                found.append(_event(boat, day, kind))
    return found


def _event(boat: Boat, day: date, kind: str) -> Row:
    return {
        "boat_id": boat.boat_id,
        "happened_on": day.isoformat(),
        "kind": kind,
        "fitting_types": _EVENT_TYPES.get(kind, ""),
        "note": _EVENT_NOTES.get(kind, ""),
    }


def _after_groundings(events: list[Row], boat: Boat) -> list[Visit]:
    """Return the looks at keel and rudder that follow two groundings in three."""
    found = []
    for event in events:
        dice = Dice("after", boat.boat_id, event["happened_on"])
        day = date.fromisoformat(event["happened_on"]) + timedelta(days=dice.whole(2, 15))
        if event["kind"] == "grounding" and day < boat.ends and dice.happens(0.67):
            used = {t: session(boat, day, t) for t in ("keel bolt", "rudder stock")}
            found.append(Visit(boat, day, "incident", "surveyor 1", used))
    return found


class _PlaceRun:
    """Lives through one place on one boat, part after part."""

    def __init__(self, boat: Boat, place: Place) -> None:
        self.boat = boat
        self.place = place
        self.part: Part | None = first_part(boat, place)
        self.looks: list[Look] = []
        self.lives: list[Life] = []
        self.is_open = False  # an indication was left where it was

    def through(self, days: list[Visit]) -> None:
        """Go through all visits, then to the end of the records."""
        for visit in days:
            self.fail_before(visit.day)
            if self.part is not None and self.part.installed < visit.day:
                self.at(visit, self.part)
        self.fail_before(self.boat.ends)
        if self.part is not None:
            reason = "boat_left" if self.boat.left and self.boat.left < AS_OF else "in_service"
            self.lives.append(Life(self.part, self.boat.ends, reason))

    def fail_before(self, day: date) -> None:
        """Let a cracked part fail in service, if its time has come before `day`."""
        part = self.part
        if part is None or part.onset_years > 200:
            return
        dice = Dice("failure", self.boat.boat_id, self.place.fitting_id, part.number)
        years = part.onset_years - CRACK_TO_FAILURE_YEARS * math.log(1 - dice.uniform())
        failed = part.installed + timedelta(days=min(round(years * DAYS_A_YEAR), 200_000))
        if self.boat.joined < failed < day:
            self.looks.append(failure(part, failed))
            self.renew(part, failed, "damage", own_row=dice.happens(0.6))

    def at(self, visit: Visit, part: Part) -> None:
        """Renew, remove, look or pass by at one visit."""
        dice = Dice("at", self.boat.boat_id, self.place.fitting_id, visit.day)
        if visit.trigger != "incident" and self.is_due(part, visit.day):
            self.renew(part, visit.day, "preventive", own_row=True)
        elif visit.trigger != "incident" and dice.happens(0.0015):
            self.take_out(part, visit.day, "refit")
        elif self.is_open and visit.trigger != "incident":
            self.look_at(part, visit, "suspicion")
        elif self.place.fitting_type in visit.sessions or self.is_old(part, visit):
            if dice.happens(0.95):
                self.look_at(part, visit, visit.trigger)
        elif visit.trigger != "incident" and dice.happens(0.04 if part.onset <= visit.day else 0.003):
            self.look_at(part, visit, "suspicion")

    def is_due(self, part: Part, day: date) -> bool:
        """Say whether this owner renews parts of this type and age without testing them."""
        dice = Dice("renewing", self.boat.boat_id, self.place.fitting_type)
        times = 1.0 if dice.happens(_RENEWING_SHARE[self.boat.owner]) else RENEWED_LATE_FACTOR
        years = (day - part.installed).days / DAYS_A_YEAR
        return years >= times * dice.between(*RENEWED_AT[self.place.fitting_type])

    def is_old(self, part: Part, visit: Visit) -> bool:
        """Say whether the type is looked at on this visit for the age of this part."""
        years = (visit.day - part.installed).days / DAYS_A_YEAR
        dice = Dice("old", self.boat.boat_id, visit.day, self.place.fitting_type)
        old = years >= _OLD * RENEWED_AT[self.place.fitting_type][1]
        return old and visit.trigger != "incident" and dice.happens(_OLD_LOOKED_AT)

    def look_at(self, part: Part, visit: Visit, trigger: str) -> None:
        """Test the part and do what follows from it."""
        thorough = trigger == "suspicion"
        kind = self.place.fitting_type
        used = session(self.boat, visit.day, kind, thorough=True) if thorough else visit.session(kind)
        seen = look(part, visit.day, used, trigger=trigger, inspector=visit.inspector)
        self.looks.append(seen)
        dice = Dice("then", self.boat.boat_id, self.place.fitting_id, visit.day)
        self.is_open = seen.shows and seen.action == "none" and seen.row.get("disposition") in {"open", "", "confirmed"}
        if seen.action == "replaced":
            self.renew(part, visit.day, "indication", own_row=dice.happens(0.6))
        elif seen.action == "removed":
            self.take_out(part, visit.day, "indication")
        elif self.is_open and dice.happens(_RENEWED_SOON):
            self.renew_soon(part, visit.day, dice)

    def renew_soon(self, part: Part, day: date, dice: Dice) -> None:
        """Renew a part with an indication some weeks after it was found, if the records reach so far."""
        then = day + timedelta(days=dice.whole(5, 60))
        if then < self.boat.ends:
            self.renew(part, then, "indication", own_row=True)

    def renew(self, part: Part, day: date, reason: str, *, own_row: bool) -> None:
        """End the part and put in the next, the same day or some days later."""
        dice = Dice("wait", self.boat.boat_id, self.place.fitting_type, day)
        wait = dice.whole(0, 20) if own_row else 0
        exact = reason != "preventive" or dice.happens(0.8)
        how = "removed" if reason == "preventive" else "replaced"
        self.lives.append(Life(part, day, how, reason if own_row else ""))
        self.part = next_part(part, min(day + timedelta(days=wait), self.boat.ends), own_row=own_row, to_the_day=exact)
        self.is_open = False

    def take_out(self, part: Part, day: date, reason: str) -> None:
        """End the part; nothing follows."""
        self.lives.append(Life(part, day, "removed", reason))
        self.part = None
