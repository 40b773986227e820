"""The truth of the invented demo fleet: life distributions, effects, chances of the tests, and what is planted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from random import Random
from statistics import NormalDist
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

SEED = 20261108  # why this one: README.md
AS_OF = date(2026, 10, 31)
RECORDS_BEGIN = date(2006, 11, 1)
DAYS_A_YEAR = 365.25
BOAT_EFFECT_SD = 0.2  # of ln scale
FOLLOWED_UP = 0.5  # share of indications with a disposition, whatever the truth
BELOW_MINIMA_FACTOR = 0.4  # what is left of the chance to find, where a penetrant test was below its minima
CLEARED_BEFORE_JOINING = 0.6  # how surely a crack from before joining had been taken out
RENEWED_BEFORE_JOINING = 0.8  # how often a part had been renewed uncracked at the age usual for its type
RENEWED_LATE_FACTOR = 1.5  # all others are renewed at so many times that age
CRACK_TO_FAILURE_YEARS = 150.0  # mean of an exponential: a cracked part fails about so long after
BAD_BATCH_FACTOR = 3.0  # onset so many times earlier

STAINLESS_316, STAINLESS_304, DUPLEX = "stainless 316", "stainless 304", "stainless duplex"
BRONZE, ALUMINIUM, BRASS, IRON = "silicon bronze", "aluminium alloy", "dzr brass", "cast iron"

T = TypeVar("T")


class Dice:
    """Seeded chance for one named thing, so that a change in one place leaves all others as they were."""

    def __init__(self, *name: object) -> None:
        self.uniform = Random("/".join(map(str, (SEED, *name)))).random

    def happens(self, chance: float) -> bool:
        """Say whether something of this chance happens."""
        return self.uniform() < chance

    def between(self, low: float, high: float) -> float:
        """Return a number from low to high, even."""
        return low + (high - low) * self.uniform()

    def whole(self, low: int, high: int) -> int:
        """Return a whole number from low to high, both included."""
        return low + int((high - low + 1) * self.uniform())

    def normal(self, sd: float) -> float:
        """Return a normal number about 0."""
        return NormalDist(0, sd).inv_cdf(min(max(self.uniform(), 1e-12), 1 - 1e-12))

    def weibull(self, shape: float, scale: float) -> float:
        """Return a Weibull number by inverting S."""
        return scale * float((-math.log(1 - self.uniform())) ** (1 / shape))

    def pick(self, weights: Mapping[T, float]) -> T:
        """Return one of the keys, each as often as its weight says."""
        rest = self.uniform() * sum(weights.values())
        for key, weight in weights.items():
            rest -= weight
            if rest < 0:
                return key
        return key

    def one_of(self, things: Sequence[T]) -> T:
        """Return one of the things, each as often."""
        return things[int(len(things) * self.uniform())]


@dataclass(frozen=True, slots=True)
class ClassTruth:
    """Weibull onset of one class on a reference boat: salt, temperate, private, not through deck, no boat effect."""

    b10_years: float
    shape: float
    used_from: int = 0  # first year in which the fleet fitted it

    @property
    def scale_years(self) -> float:
        """Scale that gives the age by which one in ten has cracked: b10 / (-ln 0.9)^(1/shape)."""
        return self.b10_years / float((-math.log(0.9)) ** (1 / self.shape))


CLASSES: dict[tuple[str, str], ClassTruth] = {
    ("chainplate", STAINLESS_304): ClassTruth(13.0, 2.8),
    ("chainplate", STAINLESS_316): ClassTruth(19.0, 3.0),
    ("chainplate", DUPLEX): ClassTruth(20.0, 3.0, used_from=2015),  # nothing known past age 12
    ("stem fitting", STAINLESS_316): ClassTruth(21.0, 3.0),
    ("stem fitting", BRONZE): ClassTruth(36.0, 3.0),  # few, and no finding at all
    ("backstay plate", STAINLESS_316): ClassTruth(19.0, 2.8),
    ("mast tang", STAINLESS_316): ClassTruth(17.5, 2.6),
    ("mast tang", STAINLESS_304): ClassTruth(12.5, 2.6),
    ("swaged terminal", STAINLESS_316): ClassTruth(12.5, 3.0),
    ("turnbuckle", BRONZE): ClassTruth(18.0, 2.5),
    ("turnbuckle", STAINLESS_316): ClassTruth(13.5, 2.4),
    ("toggle", STAINLESS_316): ClassTruth(16.0, 2.4),
    ("toggle", BRONZE): ClassTruth(20.0, 2.5),
    ("clevis pin", STAINLESS_316): ClassTruth(19.0, 2.3),
    ("spreader bracket", ALUMINIUM): ClassTruth(18.0, 2.5),
    ("gooseneck", ALUMINIUM): ClassTruth(12.0, 2.0),
    ("keel bolt", STAINLESS_316): ClassTruth(29.0, 3.2),
    ("keel bolt", STAINLESS_304): ClassTruth(22.0, 3.0),
    ("rudder stock", STAINLESS_316): ClassTruth(27.0, 3.0),
    ("pintle", BRONZE): ClassTruth(22.0, 2.4),
    ("pintle", STAINLESS_316): ClassTruth(16.0, 2.4),
    ("seacock", BRASS): ClassTruth(17.5, 2.8),
    ("seacock", BRONZE): ClassTruth(24.0, 2.6),
    ("stanchion base", STAINLESS_316): ClassTruth(22.0, 2.2),
    ("exhaust elbow", IRON): ClassTruth(6.0, 2.4),
}

# What is added to ln scale; the reference boat has 0 everywhere.
EFFECTS: dict[str, dict[str, float]] = {
    "water": {"salt": 0.0, "brackish": 0.12, "fresh": 0.35},
    "climate": {"temperate": 0.0, "cold": 0.08, "warm": -0.2},
    "service": {"private": 0.0, "club": 0.0, "school": -0.1, "charter": -0.15},
    "through_deck": {"no": 0.0, "yes": -0.15},
}


@dataclass(frozen=True, slots=True)
class TestTruth:
    """Chances of one method: to show a crack that is there (part removed, in place), and one that is not."""

    removed: float
    in_place: float
    false_call: float

    def found(self, scope: str) -> float:
        """Return the chance to show a crack that is there."""
        return self.removed if scope == "removed" else self.in_place


TESTS: dict[str, TestTruth] = {
    "visual": TestTruth(0.35, 0.18, 0.010),
    "magnified": TestTruth(0.55, 0.30, 0.015),
    "penetrant": TestTruth(0.75, 0.42, 0.055),
    "fluorescent_penetrant": TestTruth(0.90, 0.50, 0.040),
    "eddy_current": TestTruth(0.80, 0.80, 0.030),
    "ultrasonic": TestTruth(0.60, 0.60, 0.030),
    "proof_load": TestTruth(0.20, 0.20, 0.010),
}


@dataclass(frozen=True, slots=True)
class BadBatch:
    """One supplier's batch whose parts crack several times earlier."""

    fitting_type: str
    material: str
    supplier: str
    year: int

    @property
    def batch(self) -> str:
        """Return the batch as records name it."""
        return batch_name(self.supplier, self.year)


@dataclass(frozen=True, slots=True)
class GoneBad:
    """A class whose parts, on some owners' boats, crack from one season on for a cause nobody wrote down."""

    fitting_type: str
    material: str
    boats: str  # first letters of their ids
    since: date
    share: float


def batch_name(supplier: str, year: int) -> str:
    """Name the batch a supplier sold in a year."""
    return f"{supplier}-{year}"


# Age at which most owners renew without a test, in years.
RENEWED_AT: dict[str, tuple[float, float]] = {
    "chainplate": (20, 30),
    "stem fitting": (24, 34),
    "backstay plate": (20, 30),
    "mast tang": (19, 28),
    "swaged terminal": (10, 16),
    "turnbuckle": (15, 23),
    "toggle": (15, 23),
    "clevis pin": (12, 20),
    "spreader bracket": (19, 28),
    "gooseneck": (13, 20),
    "keel bolt": (23, 33),
    "rudder stock": (23, 32),
    "pintle": (18, 26),
    "seacock": (15, 23),
    "stanchion base": (19, 29),
    "exhaust elbow": (6, 10),
}

BAD_BATCHES = (
    BadBatch("swaged terminal", STAINLESS_316, "S3", 2014),
    BadBatch("clevis pin", STAINLESS_316, "S5", 2012),
)

# Bronze turnbuckles of charter and school, washed down with ammonia since spring 2025.
GONE_BAD = GoneBad("turnbuckle", BRONZE, "CS", date(2025, 5, 1), 0.85)


def effect_of(water: str, climate: str, service: str, through_deck: bool) -> float:
    """Return what a boat's covariates add to ln scale."""
    words = {"water": water, "climate": climate, "service": service, "through_deck": "yes" if through_deck else "no"}
    return sum(EFFECTS[name][word] for name, word in words.items())
