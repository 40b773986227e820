"""A second seeded fleet with known truth, written apart from the first: one part's life after another.

It differs on purpose from what the estimate supposes: classes owe nothing to their type or material, boats differ by a
uniform and not a normal effect, each boat is visited at random and keeps to its own habits, parts are renewed by age
or when they fail, and confirmed cracks are not always taken out at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import accumulate
from math import exp, log, sqrt
from random import Random

import numpy as np

from bobstay.joint import Fleet, failed_code, look_code
from bobstay.study.truth import Truth

FOUND = (0.3, 0.6, 0.8)
FALSE_CALL = (0.01, 0.02, 0.06)
THOUGHT = (0.4, 0.5, 0.7), (0.02, 0.02, 0.04)  # what the settings say of both, wrong on purpose
CLASSES = tuple((kind, material) for kind in range(5) for material in range(3) if (kind + material) % 5)
EFFECTS = (-0.3, -0.15)  # of lying in salt water, and of one ln unit more of hours
BOAT_SD = 0.25
FAILING = 0.03  # how often in a year a cracked part fails, unless it is known to be cracked and spared
RECORDS = 16.0  # years
CLEAR, OPEN, CONFIRMED, UNFOUNDED, FAILED = range(5)


@dataclass(slots=True)
class Boat:
    """One boat: when her records begin, how far her parts last, how she is looked after."""

    built: float
    joined: float
    salt: float
    hours: float
    effect: float
    visits: list[float]
    habit: list[float]  # how often each method is used, summed up


@dataclass(slots=True)
class Book:
    """Everything written down and everything true, in order of life."""

    lives: list[tuple[int, int, float, float, float, bool]] = field(default_factory=list)
    looks: list[tuple[int, float, int, int]] = field(default_factory=list)
    watched: list[float] = field(default_factory=list)  # by life, age to which it could fail


def simulate(seed: int, boats: int, *, places: int = 40, perfect: bool = False) -> tuple[Fleet, Truth]:
    """Return a fleet as arrays and the truth behind it; `perfect` tests miss nothing and never call false."""
    dice = Random(seed)  # noqa: S311 (a simulation, no secret)
    b10 = [exp(dice.uniform(log(6.0), log(28.0))) for _ in CLASSES]
    shape = [dice.uniform(1.6, 3.8) for _ in CLASSES]
    scale = [years / (-log(0.9)) ** (1 / k) for years, k in zip(b10, shape, strict=True)]
    fleet = [_boat(dice) for _ in range(boats)]
    found, false_call = ((1 - 1e-6,) * 3, (1e-6,) * 3) if perfect else (FOUND, FALSE_CALL)
    book = Book()
    for number, boat in enumerate(fleet):
        for _ in range(places):
            k = dice.randrange(len(CLASSES))
            stretch = EFFECTS[0] * boat.salt + EFFECTS[1] * boat.hours + boat.effect
            onset = scale[k] * exp(stretch), shape[k]
            place = Place(dice, book, numbers=(number, k), boat=boat, onset=onset, rates=(found, false_call))
            place.through()
    return _arrays(book, fleet, (scale, shape), (found, false_call))


def _boat(dice: Random) -> Boat:
    joined = dice.choice([0.0, dice.uniform(0.0, 9.0)])
    when, visits = joined, []
    pace = dice.uniform(0.6, 1.6)  # visits a year
    while (when := when + dice.expovariate(pace)) < RECORDS:
        visits.append(when)
    half = BOAT_SD * sqrt(3.0)
    habit = list(accumulate(dice.random() + 0.1 for _ in FOUND))
    return Boat(
        joined - dice.uniform(0.0, 14.0), joined, dice.choice([0.0, 1.0]), dice.gauss(0.0, 0.7),
        dice.uniform(-half, half), visits, habit,
    )  # fmt: skip


class Place:
    """One place on one boat, part after part."""

    def __init__(
        self,
        dice: Random,
        book: Book,
        *,
        numbers: tuple[int, int],
        boat: Boat,
        onset: tuple[float, float],
        rates: tuple[tuple[float, ...], tuple[float, ...]],
    ) -> None:
        self.dice, self.book, self.numbers, self.boat, self.onset, self.rates = dice, book, numbers, boat, onset, rates
        self.put_in(boat.built)
        while self.installed + self.begins < boat.joined and dice.random() < 0.5:  # half of the early cracks went
            self.put_in(dice.uniform(self.installed + self.begins, boat.joined))

    def put_in(self, when: float) -> None:
        """Put a new part in."""
        self.installed = when
        self.begins = self.dice.weibullvariate(*self.onset)
        self.is_watched = True
        self.known = float("inf")  # age from which it was known to be cracked
        self.fails = max(self.begins, self.boat.joined - when) + self.dice.expovariate(FAILING)

    def fail(self, by: float) -> None:
        """Write down the failures of this place until a day; a part that is known to be cracked is spared."""
        while self.is_watched and self.installed + self.fails < by:
            self.book.looks.append((len(self.book.lives), self.fails, 0, FAILED))
            self.end(self.installed + self.fails)

    def through(self) -> None:
        """Go through the boat's visits to the end of the records."""
        for when in self.boat.visits:
            self.fail(when)
            age = when - self.installed
            if age > 22.0 and self.dice.random() < 0.3:
                self.end(when)
            elif self.dice.random() < 0.45 and age > 0.0:
                self.look(when, age)
        self.fail(RECORDS)
        self.end(RECORDS, in_service=True)

    def look(self, when: float, age: float) -> None:
        """Look once, write it down unless a crack is known already, and renew what is to be renewed."""
        if not self.is_watched:
            if self.dice.random() < 0.7:
                self.end(when)
            return
        method = self.dice.choices(range(len(FOUND)), cum_weights=self.boat.habit)[0]
        cracked = age > self.begins
        kind = CLEAR
        if self.dice.random() < self.rates[0 if cracked else 1][method]:
            kind = OPEN if self.dice.random() < 0.5 else CONFIRMED if cracked else UNFOUNDED
        self.book.looks.append((len(self.book.lives), age, method, kind))
        if kind == CONFIRMED:
            self.is_watched, self.known = False, age
        if self.dice.random() < (0.0, 0.4, 0.8, 0.0)[kind]:
            self.end(when)

    def end(self, when: float, *, in_service: bool = False) -> None:
        """Write the life down, and put a new part in where the boat sails on."""
        boat, k = self.numbers
        self.book.lives.append((boat, k, self.installed, self.begins, when, in_service))
        self.book.watched.append(min(when - self.installed, self.known))
        if not in_service:
            self.put_in(when)


def _arrays(
    book: Book,
    boats: list[Boat],
    curves: tuple[list[float], list[float]],
    rates: tuple[tuple[float, ...], tuple[float, ...]],
) -> tuple[Fleet, Truth]:
    """Put the book in arrays by life."""
    boat, kind, installed, begins, ended, serving = (np.array(column) for column in zip(*book.lives, strict=True))
    life, age, method, result = (np.array(column) for column in zip(*book.looks, strict=True))
    own = np.array([(b.salt, b.hours) for b in boats])
    x = own[boat]
    joined = np.array([b.joined for b in boats])
    fleet = Fleet(
        class_index=kind.astype(np.intp),
        boat_index=boat.astype(np.intp),
        covariates=x - x.mean(0),
        copy_life=np.arange(len(boat)),
        copy_log_weight=np.zeros(len(boat)),
        copy_shift=np.zeros(len(boat)),
        copy_entry=np.maximum(joined[boat] - installed, 0.0),
        copy_hidden=np.zeros(len(boat), dtype=bool),
        look_life=life.astype(np.intp),
        look_age=age,
        look_code=np.where(result == FAILED, failed_code(len(FOUND)), look_code(method, result)).astype(np.intp),
        class_count=len(CLASSES),
        boat_count=len(boats),
        end_years=np.array(book.watched),
    )
    types, materials = (np.array(part, dtype=np.intp) for part in zip(*CLASSES, strict=True))
    truth = Truth(
        type_index=types,
        material_index=materials,
        log_scale=np.log(curves[0]) + x.mean(0) @ EFFECTS,
        log_shape=np.log(curves[1]),
        effects=np.array(EFFECTS),
        boat_sd=BOAT_SD,
        boat_effect=np.array([b.effect for b in boats]),
        onset_years=begins,
        last_years=ended - installed,
        is_in_service=serving,
        installed=installed,
        joined=joined,
        covariates=own,
        found=np.array(rates[0]),
        false_call=np.array(rates[1]),
        found_thought=np.array(THOUGHT[0]),
        false_call_thought=np.array(THOUGHT[1]),
        failing=FAILING,
    )
    return fleet, truth
