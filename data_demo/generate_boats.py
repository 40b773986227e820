"""The boats of the invented demo fleet and the places on them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from .generate_truth import (
    ALUMINIUM,
    AS_OF,
    BOAT_EFFECT_SD,
    BRASS,
    BRONZE,
    CLASSES,
    DUPLEX,
    IRON,
    RECORDS_BEGIN,
    STAINLESS_304,
    STAINLESS_316,
    Dice,
)


@dataclass(frozen=True, slots=True)
class Boat:
    """One invented boat; `effect` is her own addition to ln scale, known to nobody."""

    boat_id: str
    owner: str
    boat_name: str
    design: str
    built: date
    joined: date
    left: date | None
    left_reason: str
    service: str
    water: str
    climate: str
    hours_per_year: int
    home_port: str
    effect: float

    @property
    def ends(self) -> date:
        """Return the last day of her records."""
        return min(self.left or AS_OF, AS_OF)

    @property
    def joined_new(self) -> bool:
        """Say whether her records begin on the day she was new."""
        return self.joined == self.built


@dataclass(frozen=True, slots=True)
class Place:
    """One place on a boat, and what its first part is made of."""

    fitting_id: str
    fitting_type: str
    material: str
    position: str
    access: str
    consequence: int
    through_deck: bool


@dataclass(frozen=True, slots=True)
class PlaceKind:
    """What is usual for one fitting type: how many, how reached, how often through the deck, of what."""

    code: str
    count: int
    access: str
    consequence: int
    through_deck: float
    old: dict[str, float]  # materials of boats built before 1998, with weights
    new: dict[str, float]


KINDS: dict[str, PlaceKind] = {
    "chainplate": PlaceKind(
        "CP",
        6,
        "mast_out",
        4,
        0.6,
        {STAINLESS_304: 6, STAINLESS_316: 4},
        {STAINLESS_304: 2, STAINLESS_316: 5, DUPLEX: 6},
    ),
    "stem fitting": PlaceKind("SF", 1, "mast_out", 4, 0, {BRONZE: 8, STAINLESS_316: 2}, {STAINLESS_316: 1}),
    "backstay plate": PlaceKind("BP", 1, "mast_out", 4, 0.3, {STAINLESS_316: 1}, {STAINLESS_316: 1}),
    "mast tang": PlaceKind(
        "MT", 4, "mast_out", 4, 0, {STAINLESS_304: 6, STAINLESS_316: 4}, {STAINLESS_304: 2, STAINLESS_316: 8}
    ),
    "swaged terminal": PlaceKind("ST", 6, "mast_out", 4, 0, {STAINLESS_316: 1}, {STAINLESS_316: 1}),
    "turnbuckle": PlaceKind("TB", 4, "afloat", 4, 0, {BRONZE: 7, STAINLESS_316: 3}, {BRONZE: 6, STAINLESS_316: 4}),
    "toggle": PlaceKind("TG", 4, "afloat", 4, 0, {BRONZE: 4, STAINLESS_316: 6}, {BRONZE: 2, STAINLESS_316: 8}),
    "clevis pin": PlaceKind("PN", 4, "aloft", 4, 0, {STAINLESS_316: 1}, {STAINLESS_316: 1}),
    "spreader bracket": PlaceKind("SB", 2, "aloft", 3, 0, {ALUMINIUM: 1}, {ALUMINIUM: 1}),
    "gooseneck": PlaceKind("GN", 1, "afloat", 2, 0, {ALUMINIUM: 1}, {ALUMINIUM: 1}),
    "keel bolt": PlaceKind(
        "KB", 4, "keel_off", 5, 1, {STAINLESS_304: 6, STAINLESS_316: 4}, {STAINLESS_304: 1, STAINLESS_316: 9}
    ),
    "rudder stock": PlaceKind("RS", 1, "hauled", 5, 1, {STAINLESS_316: 1}, {STAINLESS_316: 1}),
    "pintle": PlaceKind("PT", 2, "hauled", 3, 0, {BRONZE: 7, STAINLESS_316: 3}, {BRONZE: 4, STAINLESS_316: 6}),
    "seacock": PlaceKind("SC", 3, "hauled", 5, 1, {BRONZE: 6, BRASS: 4}, {BRONZE: 3, BRASS: 7}),
    "stanchion base": PlaceKind("SN", 4, "afloat", 3, 0.7, {STAINLESS_316: 1}, {STAINLESS_316: 1}),
    "exhaust elbow": PlaceKind("EE", 1, "engine_bay", 3, 0, {IRON: 1}, {IRON: 1}),
}

CHARTER = "Marulo Bay Charter Base (invented)"
SCHOOL = "Ouldry Sailing School (invented)"
CLUB = "Three Moorings Club (invented)"
_FIRST = ("Amber", "Quiet", "Long", "North", "Little", "Salt", "Far", "Second", "Pale", "Old", "Drifting", "Copper")
_SECOND = ("Tern", "Heron", "Shoal", "Lantern", "Ebb", "Thistle", "Plover", "Kettle", "Rook", "Sandbar", "Otter")
# Waters of the club's members: port, water, climate, how common.
_CLUB_PORTS = {
    ("Ardlemouth (invented)", "salt", "temperate"): 11.0,
    ("Skarnvik (invented)", "salt", "cold"): 6.0,
    ("Lake Vendru (invented)", "fresh", "cold"): 5.0,
    ("Lake Ommel (invented)", "fresh", "temperate"): 4.0,
    ("Ouldry Quay (invented)", "brackish", "temperate"): 3.0,
}
# Charter boats: year bought (four in each of the two years whose batches are bad).
_CHARTER_YEARS = (
    2007,
    2007,
    2008,
    2009,
    2009,
    2010,
    2011,
    *(2012,) * 4,
    2013,
    *(2014,) * 4,
    2015,
    2016,
    2016,
    2017,
    2018,
    2019,
    2020,
    2021,
    2022,
    2023,
)


def boats() -> list[Boat]:
    """Return all boats, in order of id."""
    charter = [_charter(n, year) for n, year in enumerate(_CHARTER_YEARS, start=1)]
    return charter + [_school(n) for n in range(1, 17)] + [_club(n) for n in range(1, 31)]


def _name(number: int) -> str:
    return f"{_FIRST[number % len(_FIRST)]} {_SECOND[number % len(_SECOND)]}"


def _charter(number: int, year: int) -> Boat:
    dice = Dice("charter", number)
    built = date(year, 4, 1) + timedelta(days=dice.whole(0, 50))
    second_hand = dice.happens(0.15)
    stays = timedelta(days=round(365.25 * dice.between(11, 18)))
    left = built + stays
    return Boat(
        f"C{number:02d}",
        CHARTER,
        _name(number),
        dice.one_of(("design K38 (invented)", "design K44 (invented)")),
        built - timedelta(days=365 * dice.whole(3, 5)) if second_hand else built,
        built,
        left if left < AS_OF else None,
        dice.one_of(("sold", "sold", "end of lease")) if left < AS_OF else "",
        "charter",
        "salt",
        "warm",
        dice.whole(90, 160) * 10,
        "Marulo Bay (invented)",
        dice.normal(BOAT_EFFECT_SD),
    )


def _school(number: int) -> Boat:
    dice = Dice("school", number)
    built = date(dice.whole(2000, 2018), 3, 1) + timedelta(days=dice.whole(0, 90))
    new = built > RECORDS_BEGIN and dice.happens(0.85)
    joined = built if new else max(built, RECORDS_BEGIN) + timedelta(days=dice.whole(30, 1500))
    left = _sold(joined, dice) if number in {4, 9} else None
    return Boat(
        f"S{number:02d}",
        SCHOOL,
        _name(30 + number),
        dice.one_of(("design E26 (invented)", "design E31 (invented)")),
        built,
        joined,
        left,
        "sold" if left else "",
        "school",
        "brackish",
        "temperate",
        dice.whole(45, 90) * 10,
        "Ouldry (invented)",
        dice.normal(BOAT_EFFECT_SD),
    )


def _club(number: int) -> Boat:
    dice = Dice("club", number)
    year = dice.whole(1979, 1991) if dice.happens(0.12) else dice.whole(1992, 2016)
    built = date(year, 4, 1) + timedelta(days=dice.whole(0, 120))
    new = built > RECORDS_BEGIN and dice.happens(0.5)
    joined = built if new else max(built, RECORDS_BEGIN) + timedelta(days=dice.whole(30, 3600))
    port, water, climate = dice.pick(_CLUB_PORTS)
    left = _sold(joined, dice) if number % 8 == 0 else None
    reason = "wrecked" if number == 16 else "sold"
    return Boat(
        f"M{number:02d}",
        CLUB,
        _name(50 + number),
        f"design {dice.one_of('FGHJ')}{dice.whole(24, 41)} (invented)",
        built,
        joined,
        left,
        reason if left else "",
        "club" if number % 7 == 0 else "private",
        water,
        climate,
        dice.whole(6, 35) * 10,
        port,
        dice.normal(BOAT_EFFECT_SD),
    )


def _sold(joined: date, dice: Dice) -> date | None:
    left = joined + timedelta(days=dice.whole(2500, 5500))
    return left if left < AS_OF else None


def places(boat: Boat) -> list[Place]:
    """Return the places on one boat that her owner keeps records of."""
    found = []
    for fitting_type, kind in KINDS.items():
        dice = Dice("places", boat.boat_id, fitting_type)
        if _has(boat, fitting_type):
            found += _places_of(boat, fitting_type, kind, dice)
    return found


def _has(boat: Boat, fitting_type: str) -> bool:
    hung = Dice("rudder", boat.boat_id).happens(0.8 if boat.built.year < 1998 else 0.35)  # on pintles
    if fitting_type == "pintle":
        return hung
    if fitting_type == "rudder stock":
        return not hung
    return True


def _places_of(boat: Boat, fitting_type: str, kind: PlaceKind, dice: Dice) -> list[Place]:
    weights = kind.old if boat.built.year < 1998 else kind.new
    usable = {m: w for m, w in weights.items() if CLASSES[fitting_type, m].used_from <= boat.built.year}
    material = dice.pick(usable)
    through = dice.happens(kind.through_deck)
    return [
        Place(f"{kind.code}{n}", fitting_type, material, _position(kind, n), kind.access, kind.consequence, through)
        for n in range(1, kind.count + 1)
    ]


def _position(kind: PlaceKind, number: int) -> str:
    if kind.count == 1:
        return "centre"
    if kind.code in {"KB", "SC", "PT"}:
        return f"number {number} from forward" if kind.code != "PT" else ("upper", "lower")[number - 1]
    return f"{('starboard', 'port')[number % 2]} {(number + 1) // 2}"
