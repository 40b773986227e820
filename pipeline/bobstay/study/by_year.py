"""A seeded fleet with known truth, lived through year by year, all places at once.

Looks miss cracks and call false, boats join late and differ, parts are renewed where a crack is confirmed or they fail.
"""

from __future__ import annotations

import numpy as np

from bobstay.joint import Fleet, failed_code, look_code
from bobstay.joint.fleet import Bools, Floats, Ints
from bobstay.study.truth import Truth

FOUND = np.array([0.35, 0.55, 0.85, 0.92])
FALSE_CALL = np.array([0.012, 0.015, 0.08, 0.03])
THOUGHT = np.array([0.4, 0.5, 0.7, 0.8]), np.array([0.02, 0.02, 0.05, 0.04])  # the settings, wrong on purpose
CERTAIN = np.full(4, 1e-6)  # false calls of tests taken as perfect; 1 - CERTAIN is found
METHOD_SHARE = np.array([0.35, 0.25, 0.3, 0.1])
YEARS = 14  # length of the records
SHAPES = (6, 4)  # types, materials
FAILING = 0.02  # how often in a year a cracked part fails
EFFECTS = np.array([-0.25, -0.2])  # of the two covariates on ln scale
Looks = tuple[Ints, Floats, Ints]  # life, age, code


def truth_of(rng: np.random.Generator, boats: int, *, classes: int, boat_sd: float) -> dict[str, Floats]:
    """Draw the parameters of the classes and boats."""
    types, materials = SHAPES
    cell = rng.permutation(types * materials)[:classes]
    type_index, material_index = np.sort(cell) // materials, np.sort(cell) % materials
    scale = 3.1 + rng.normal(0, 0.35, types)[type_index] + rng.normal(0, 0.3, materials)[material_index]
    shape = np.log(2.4) + rng.normal(0, 0.2, types)[type_index] + rng.normal(0, 0.1, materials)[material_index]
    return {
        "type_index": np.unique(type_index, return_inverse=True)[1],
        "material_index": np.unique(material_index, return_inverse=True)[1],
        "log_scale": scale + rng.normal(0, 0.15, classes),
        "log_shape": shape,
        "boat_effect": rng.normal(0, boat_sd, boats),
        "joined": rng.uniform(0, 8, boats) * (rng.random(boats) < 0.6),
        "built": -rng.uniform(0, 12, boats),
        "covariates": (rng.random((boats, 2)) < [0.5, 0.3]).astype(float),
    }


class Parts:
    """The parts in place, one a place, and the lives they have had; steps of a year, all places at once."""

    def __init__(
        self,
        rng: np.random.Generator,
        drawn: dict[str, Floats],
        boat: Ints,
        *,
        rates: tuple[Floats, Floats],
        failing: float,
    ) -> None:
        self.rng, self.boat, self.rates, self.failing = rng, boat, rates, failing
        self.kind = rng.integers(0, len(drawn["log_scale"]), len(boat))
        shift = drawn["covariates"] @ EFFECTS + drawn["boat_effect"]
        self.log_scale = drawn["log_scale"][self.kind] + shift[boat]
        self.shape = np.exp(drawn["log_shape"])[self.kind]
        self.joined = drawn["joined"][boat]
        self.installed = drawn["built"][boat].copy()
        self.begins = self.onset(np.arange(len(boat)))
        self.clear_before_joining()
        self.fails = self.failure(np.arange(len(boat)))
        self.life = np.arange(len(boat))
        self.count = len(boat)
        self.ended = np.full(len(boat), float(YEARS))  # by life
        self.past: list[tuple[Ints, Floats, Floats]] = []
        self.keep(np.arange(len(boat)))

    def onset(self, places: Ints) -> Floats:
        """Draw the ages at which new parts in these places crack."""
        return np.asarray(np.exp(self.log_scale[places]) * self.rng.weibull(self.shape[places]))

    def failure(self, places: Ints) -> Floats:
        """Draw the ages at which these parts fail, once cracked and watched (never where none does)."""
        if not self.failing:
            return np.full(len(places), np.inf)
        watched = np.maximum(self.begins[places], self.joined[places] - self.installed[places])
        return np.asarray(watched + self.rng.exponential(1.0 / self.failing, len(places)))

    def fail(self, when: Floats) -> Looks:
        """End what has failed by then, again until nothing has; return life, age and code of each failure."""
        told: list[Looks] = []
        while len(out := np.flatnonzero(self.installed + self.fails < when)):
            age, life = self.fails[out], self.life[out].copy()
            told.append((life, age, np.full(out.size, failed_code(len(FOUND)), dtype=np.intp)))
            on = np.full(len(when), -np.inf)
            on[out] = self.installed[out] + age
            self.renew(out, on)
        life, age, code = (np.concatenate(part) for part in zip(*told, strict=True)) if told else _nothing()
        return life, age, code

    def clear_before_joining(self) -> None:
        """Half of the parts cracked before their boat joined had been taken out by then."""
        cracked_on = self.installed + self.begins
        out = np.flatnonzero((cracked_on < self.joined) & (self.rng.random(len(self.boat)) < 0.5))
        self.installed[out] = (cracked_on + self.rng.random(len(self.boat)) * (self.joined - cracked_on))[out]
        self.begins[out] = self.onset(out)

    def keep(self, places: Ints) -> None:
        """Write down the parts now in these places."""
        self.past.append((places, self.installed[places].copy(), self.begins[places].copy()))

    def look(self, when: Floats, there: Bools, followed_up: float) -> Looks:
        """Look at the parts that are there, renew what is confirmed; return life, age and code of each look."""
        i = np.flatnonzero(there & (when > self.joined) & (when > self.installed))
        age, life = (when - self.installed)[i], self.life[i]
        cracked = age > self.begins[i]
        row = self.rng.choice(4, size=i.size, p=METHOD_SHARE)
        shows = self.rng.random(i.size) < np.where(cracked, self.rates[0][row], self.rates[1][row])
        follow = shows & (self.rng.random(i.size) < followed_up)
        result = np.where(~shows, 0, np.where(~follow, 1, np.where(cracked, 2, 3)))
        self.renew(i[follow & cracked], when)
        return life, age, look_code(row, result)

    def renew(self, out: Ints, when: Floats) -> None:
        """End the lives in these places and put new parts in."""
        self.ended[self.life[out]] = when[out]
        self.ended = np.concatenate([self.ended, np.full(out.size, float(YEARS))])
        self.life[out] = self.count + np.arange(out.size)
        self.count += out.size
        self.installed[out], self.begins[out] = when[out], self.onset(out)
        self.fails[out] = self.failure(out)
        self.keep(out)


def _nothing() -> Looks:
    return np.zeros(0, dtype=np.intp), np.zeros(0), np.zeros(0, dtype=np.intp)


def simulate(
    seed: int,
    boats: int,
    *,
    places: int = 40,
    classes: int = 24,
    boat_sd: float = 0.2,
    visit: float = 0.8,
    looked: float = 0.5,
    followed_up: float = 0.5,
    failing: float = 0.0,
    perfect: bool = False,
) -> tuple[Fleet, Truth]:
    """Return a fleet as arrays and the truth behind it; `perfect` tests miss nothing and never call false."""
    rng = np.random.default_rng(seed)
    drawn = truth_of(rng, boats, classes=classes, boat_sd=boat_sd)
    boat = np.repeat(np.arange(boats), places)
    parts = Parts(rng, drawn, boat, rates=(1.0 - CERTAIN, CERTAIN) if perfect else (FOUND, FALSE_CALL), failing=failing)
    looks = []
    for year in range(YEARS):
        when = year + rng.random(boats)[boat]
        there = (rng.random(boats) < visit)[boat] & (rng.random(len(boat)) < looked)
        looks.append(parts.fail(when))
        looks.append(parts.look(when, there, followed_up))
    looks.append(parts.fail(np.full(len(boat), float(YEARS))))
    return told(parts, drawn, looks, boat_sd)


def with_failures(seed: int, boats: int, *, perfect: bool = False) -> tuple[Fleet, Truth]:
    """Return a fleet some of whose cracked parts fail in service."""
    return simulate(seed, boats, failing=FAILING, perfect=perfect)


def told(parts: Parts, drawn: dict[str, Floats], looks: list[Looks], boat_sd: float) -> tuple[Fleet, Truth]:
    """Put lives, looks and truth in arrays by life."""
    place, installed, begins = (np.concatenate(part) for part in zip(*parts.past, strict=True))
    boat, kind = parts.boat[place], parts.kind[place]
    x = drawn["covariates"][boat]
    look_life, look_age, code = (np.concatenate(part) for part in zip(*looks, strict=True))
    fleet = Fleet(
        class_index=kind,
        boat_index=boat,
        covariates=x - x.mean(0),
        copy_life=np.arange(parts.count),
        copy_log_weight=np.zeros(parts.count),
        copy_shift=np.zeros(parts.count),
        copy_entry=np.maximum(drawn["joined"][boat] - installed, 0.0),
        copy_hidden=np.zeros(parts.count, dtype=bool),
        look_life=look_life,
        look_age=look_age,
        look_code=code,
        class_count=len(drawn["log_scale"]),
        boat_count=len(drawn["joined"]),
        end_years=parts.ended - installed,
    )
    truth = Truth(
        type_index=drawn["type_index"].astype(np.intp),
        material_index=drawn["material_index"].astype(np.intp),
        log_scale=drawn["log_scale"] + x.mean(0) @ EFFECTS,
        log_shape=drawn["log_shape"],
        effects=EFFECTS,
        boat_sd=boat_sd,
        boat_effect=drawn["boat_effect"],
        onset_years=begins,
        last_years=parts.ended - installed,
        is_in_service=parts.ended == YEARS,
        installed=installed,
        joined=drawn["joined"],
        covariates=drawn["covariates"],
        found=parts.rates[0],
        false_call=parts.rates[1],
        found_thought=THOUGHT[0],
        false_call_thought=THOUGHT[1],
        failing=parts.failing,
    )
    return fleet, truth
