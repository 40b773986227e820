"""A seeded fleet with known truth: looks that miss cracks and call false, late joiners, boats that differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bobstay.joint import Fleet, look_code

FOUND = np.array([0.35, 0.55, 0.85, 0.92])
FALSE_CALL = np.array([0.012, 0.015, 0.08, 0.03])
METHOD_SHARE = np.array([0.35, 0.25, 0.3, 0.1])
METHODS = ("visual", "magnified", "penetrant", "eddy_current")
YEARS = 14  # length of the records
SHAPES = (6, 4)  # types, materials


@dataclass(frozen=True, slots=True)
class Truth:
    """What the simulated fleet was made from."""

    type_index: NDArray[np.intp]
    material_index: NDArray[np.intp]
    log_scale: NDArray[np.float64]  # by class, at covariates 0
    log_shape: NDArray[np.float64]
    effects: NDArray[np.float64]  # of the covariates on ln scale
    boat_sd: float
    boat_effect: NDArray[np.float64]
    onset_years: NDArray[np.float64]  # by life, age at which its crack begins
    last_years: NDArray[np.float64]  # by life, age at its end or at the end of the records
    is_in_service: NDArray[np.bool_]
    installed: NDArray[np.float64]  # by life, years since the records' start (negative: before)
    joined: NDArray[np.float64]  # by boat
    covariates: NDArray[np.float64]  # by boat, not centred


def truth_of(rng: np.random.Generator, boats: int, *, classes: int, boat_sd: float) -> dict[str, NDArray[np.float64]]:
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
) -> tuple[Fleet, Truth]:
    """Return a fleet as arrays and the truth behind it; steps of a year, all fittings at once."""
    rng = np.random.default_rng(seed)
    t = truth_of(rng, boats, classes=classes, boat_sd=boat_sd)
    effects = np.array([-0.25, -0.2])
    boat = np.repeat(np.arange(boats), places)
    kind = rng.integers(0, classes, boats * places)
    shift = t["covariates"] @ effects + t["boat_effect"]
    log_scale, shape = t["log_scale"][kind] + shift[boat], np.exp(t["log_shape"])[kind]

    def onset(which: NDArray[np.intp]) -> NDArray[np.float64]:
        return np.exp(log_scale[which]) * rng.weibull(shape[which])

    everyone = np.arange(len(boat))
    installed, begins = t["built"][boat].copy(), onset(everyone)
    joined = t["joined"][boat]
    # half of the parts cracked before their boat joined had been taken out by then
    early = np.flatnonzero((installed + begins < joined) & (rng.random(len(boat)) < 0.5))
    taken = installed[early] + begins[early] + rng.random(early.size) * (joined - installed - begins)[early]
    installed[early], begins[early] = taken, onset(early)
    life = everyone.copy()
    lives = {"boat": [boat], "kind": [kind], "installed": [installed.copy()], "begins": [begins.copy()]}
    ended = np.full(len(boat), float(YEARS))
    all_ended = [ended]
    count = len(boat)
    looks: list[tuple[NDArray[np.intp], NDArray[np.float64], NDArray[np.intp]]] = []
    for year in range(YEARS):
        when = year + rng.random(boats)[boat]
        there = (rng.random(boats) < visit)[boat] & (when > joined) & (rng.random(len(boat)) < looked)
        i = np.flatnonzero(there & (when > installed))
        age = (when - installed)[i]
        cracked = age > begins[i]
        row = rng.choice(4, size=i.size, p=METHOD_SHARE)
        shows = rng.random(i.size) < np.where(cracked, FOUND[row], FALSE_CALL[row])
        follow = shows & (rng.random(i.size) < followed_up)
        result = np.where(~shows, 0, np.where(~follow, 1, np.where(cracked, 2, 3)))
        looks.append((life[i], age, look_code(row, result)))
        out = i[follow & cracked]
        np.concatenate(all_ended)  # ends are kept by life number
        flat = np.concatenate(all_ended)
        flat[life[out]] = when[out]
        life[out] = count + np.arange(out.size)
        count += out.size
        installed[out], begins[out] = when[out], onset(out)
        all_ended = [flat, np.full(out.size, float(YEARS))]
        for name, values in (("boat", boat), ("kind", kind), ("installed", installed), ("begins", begins)):
            lives[name].append(values[out].copy())
    of = {name: np.concatenate(values) for name, values in lives.items()}
    ends = np.concatenate(all_ended)
    x = t["covariates"][of["boat"]]
    look_life, look_age, code = (np.concatenate(part) for part in zip(*looks, strict=True))
    fleet = Fleet(
        class_index=of["kind"],
        boat_index=of["boat"],
        covariates=x - x.mean(0),
        copy_life=np.arange(count),
        copy_log_weight=np.zeros(count),
        copy_shift=np.zeros(count),
        copy_entry=np.maximum(t["joined"][of["boat"]] - of["installed"], 0.0),
        copy_hidden=np.zeros(count, dtype=bool),
        look_life=look_life,
        look_age=look_age,
        look_code=code,
        class_count=classes,
        boat_count=boats,
    )
    truth = Truth(
        type_index=t["type_index"],
        material_index=t["material_index"],
        log_scale=t["log_scale"] + x.mean(0) @ effects,
        log_shape=t["log_shape"],
        effects=effects,
        boat_sd=boat_sd,
        boat_effect=t["boat_effect"],
        onset_years=of["begins"],
        last_years=ends - of["installed"],
        is_in_service=ends == YEARS,
        installed=of["installed"],
        joined=t["joined"],
        covariates=t["covariates"],
    )
    return fleet, truth
