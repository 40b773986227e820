"""Parts of the invented demo fleet: when each was put in, when it truly cracks, and what the records say of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from .generate_boats import CHARTER
from .generate_truth import (
    BAD_BATCH_FACTOR,
    BAD_BATCHES,
    CLASSES,
    CLEARED_BEFORE_JOINING,
    DAYS_A_YEAR,
    DUPLEX,
    GONE_BAD,
    RENEWED_AT,
    RENEWED_BEFORE_JOINING,
    RENEWED_LATE_FACTOR,
    STAINLESS_304,
    STAINLESS_316,
    Dice,
    batch_name,
    effect_of,
)

if TYPE_CHECKING:
    from .generate_boats import Boat, Place

NEVER = date(9999, 12, 31)
SUPPLIERS = ("S1", "S2", "S3", "S4", "S5", "S6")


@dataclass(frozen=True, slots=True)
class Part:
    """One part in one place: what is recorded of it, and the true age at which it cracks."""

    boat: Boat
    place: Place
    number: int
    material: str
    installed: date
    installed_text: str
    supplier: str
    batch: str
    is_bad: bool
    onset_years: float
    has_row: bool = True  # has a row of its own in fittings
    is_gone_bad: bool = False  # of the class gone bad, and meant to crack by that

    @property
    def onset(self) -> date:
        """Return the day from which there is a crack to be found."""
        return later(self.installed, self.onset_years)


def later(day: date, years: float) -> date:
    """Return the day so many years later, or NEVER."""
    if day.year + years > 9000:
        return NEVER
    return day + timedelta(days=round(years * DAYS_A_YEAR))


def first_part(boat: Boat, place: Place) -> Part:
    """Return the part in the place on the day the boat's records begin, whatever befell those before it."""
    dice = Dice("before", boat.boat_id, place.fitting_id)
    part = _new(boat, place, number=1, material=place.material, day=boat.built, turn="built")
    turn = 1
    while (taken_out := _cleared_before(boat, part, turn, dice)) < boat.joined:
        part = _new(boat, place, number=1, material=place.material, day=taken_out, turn=f"built{turn}")
        turn += 1
    if boat.joined_new:
        return part
    return _as_remembered(part, Dice("remembered", boat.boat_id, place.fitting_type))


def _cleared_before(boat: Boat, part: Part, turn: int, dice: Dice) -> date:
    """Return when a part was or would be renewed, had the boat not joined by then."""
    if part.onset < boat.joined and dice.happens(CLEARED_BEFORE_JOINING):
        return later(part.onset, dice.between(0.1, 3))
    kind = part.place.fitting_type
    together = Dice("renewed before", boat.boat_id, kind, turn)  # all of a type on a boat at once
    times = 1.0 if together.happens(RENEWED_BEFORE_JOINING) else RENEWED_LATE_FACTOR
    return later(part.installed, times * together.between(*RENEWED_AT[kind]))


def _as_remembered(part: Part, dice: Dice) -> Part:
    """Blur what is known of a part from before the records: dates, and nearly always supplier and batch."""
    original = part.installed == part.boat.built
    text = dice.pick(_REMEMBERED if original else _GUESSED)
    knows_batch = dice.happens(0.1)
    return Part(
        part.boat,
        part.place,
        1,
        part.material,
        part.installed,
        _say(part, text, dice),
        part.supplier if knows_batch else "",
        part.batch if knows_batch else "",
        part.is_bad,
        part.onset_years,
        is_gone_bad=part.is_gone_bad,
    )


_REMEMBERED = {"year": 0.4, "empty": 0.13, "about": 0.13, "unknown": 0.05, "range": 0.1, "before": 0.04, "day": 0.15}
_GUESSED = {"empty": 0.15, "about": 0.3, "range": 0.25, "unknown": 0.07, "before": 0.05, "year": 0.18}


def _say(part: Part, how: str, dice: Dice) -> str:
    year, joined = part.installed.year, part.boat.joined.year
    low, high = max(year - dice.whole(0, 3), part.boat.built.year), min(year + dice.whole(0, 3), joined)
    said = {
        "day": part.installed.isoformat(),
        "year": str(year),
        "about": f"{year}~",
        "range": f"{low}/{high}" if low < high else str(year),
        "before": f"../{joined}",
        "unknown": "XXXX",
        "empty": "",
    }
    return said[how]


def _new(boat: Boat, place: Place, *, number: int, material: str, day: date, turn: str) -> Part:
    supplier = _supplier(boat, place.fitting_type, material, day.year)
    batch = batch_name(supplier, day.year)
    bad = any((b.fitting_type, b.material, b.batch) == (place.fitting_type, material, batch) for b in BAD_BATCHES)
    dice = Dice("part", boat.boat_id, place.fitting_id, number, turn)
    truth = CLASSES[place.fitting_type, material]
    scale = truth.scale_years * _stretch(boat, place) / (BAD_BATCH_FACTOR if bad else 1)
    onset = dice.weibull(truth.shape, scale)
    gone = _gone_bad(boat, place, number, material, turn)
    if gone is not None:
        onset = min(onset, (max(gone, day) - day).days / DAYS_A_YEAR + 0.01)
    return Part(
        boat, place, number, material, day, day.isoformat(), supplier, batch, bad, onset, is_gone_bad=gone is not None
    )


def _gone_bad(boat: Boat, place: Place, number: int, material: str, turn: str) -> date | None:
    """Return the day on which the part cracks for its class having gone bad, None where that does not touch it."""
    named = (GONE_BAD.fitting_type, GONE_BAD.material)
    dice = Dice("gone bad", boat.boat_id, place.fitting_id, number, turn)
    if (place.fitting_type, material) != named or boat.boat_id[0] not in GONE_BAD.boats:
        return None
    return later(GONE_BAD.since, dice.between(0, 0.7)) if dice.happens(GONE_BAD.share) else None


def _stretch(boat: Boat, place: Place) -> float:
    return math.exp(effect_of(boat.water, boat.climate, boat.service, place.through_deck) + boat.effect)


def _supplier(boat: Boat, fitting_type: str, material: str, year: int) -> str:
    dice = Dice("supplier", boat.boat_id, fitting_type, year)
    often = 0.95 if boat.owner == CHARTER else 0.2  # the charter base buys from one supplier at a time
    for bad in BAD_BATCHES:
        if (bad.fitting_type, bad.material, bad.year) == (fitting_type, material, year) and dice.happens(often):
            return bad.supplier
    return dice.one_of(SUPPLIERS)


def next_part(old: Part, day: date, *, own_row: bool, to_the_day: bool = True) -> Part:
    """Return the part that follows `old` from `day` on; without a row of its own it copies type and material."""
    if not own_row:
        new = _new(old.boat, old.place, number=old.number + 1, material=old.material, day=day, turn="kept")
        return replace(new, installed_text="", supplier="", batch="", has_row=False)
    dice = Dice("renewal", old.boat.boat_id, old.place.fitting_id, old.number)
    material = _renewed_in(old, day, dice)
    new = _new(old.boat, old.place, number=old.number + 1, material=material, day=day, turn="renewed")
    return new if to_the_day else replace(new, installed_text=f"{day:%Y-%m}")


def _renewed_in(old: Part, day: date, dice: Dice) -> str:
    """Choose the material of a renewed part: mostly the same, sometimes the better one."""
    if old.place.fitting_type == "chainplate" and day.year >= CLASSES["chainplate", DUPLEX].used_from:
        return dice.pick({STAINLESS_316: 4, DUPLEX: 6})
    if old.material == STAINLESS_304:
        return dice.pick({STAINLESS_304: 4, STAINLESS_316: 6})
    return old.material
