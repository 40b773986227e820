"""Seen findings against those the estimate foretells: right on its own fleets, and a broken curve shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from bobstay.estimate.findings import ALL, findings_rows
from bobstay.joint import Fleet, RatePrior, crossed_design, estimate, predicted
from bobstay.joint.model import Model, Point
from bobstay.joint.rates import logit
from simulated_fleet import FALSE_CALL, FOUND, Truth, one_life, simulate

PRIOR = RatePrior(FOUND, FALSE_CALL, np.full(4, 20.0))


def rows_of(fleet: Fleet, truth: Truth) -> pd.DataFrame:
    design = crossed_design(truth.type_index, truth.material_index, 2)
    made = estimate(fleet, design, rates=PRIOR)
    classes = pd.DataFrame({"fitting_type": truth.type_index, "material": truth.material_index})
    return findings_rows(made, classes, interval=0.9)


def test_one_life_by_hand() -> None:
    """Clear at 4, then looked at at 8, Weibull of shape 2 and scale 10, found .35, false call .012: Bayes by hand."""
    fleet, truth = one_life()
    design = crossed_design(truth.type_index, truth.material_index, 2)
    model = Model.of(fleet, design, PRIOR, cleared=0.5, has_boats=False)
    psi = logit(np.concatenate([FOUND, FALSE_CALL]))
    told = predicted(model, Point(design.level(np.log(10.0), np.log(2.0)), np.zeros(10), psi, np.zeros(7)))
    sound, whole = np.exp(-(0.4**2)), np.exp(-(0.8**2))
    kept = 0.65 * (1 - sound) + 0.988 * sound  # the chance of a clear look at 4
    cracked = (0.65 * (1 - sound) + 0.988 * (sound - whole)) / kept
    want = [0.35 * (1 - sound) + 0.012 * sound, 0.35 * cracked + 0.012 * (1 - cracked)]
    np.testing.assert_allclose(told.chance, want, rtol=1e-9)
    np.testing.assert_array_equal(told.shows, [0.0, 0.0])


def test_its_own_fleets_agree_with_it() -> None:
    """Ten fleets made as the estimate supposes: few classes flagged at .05, and as many findings as predicted."""
    found = pd.concat([rows_of(*simulate(seed, 40, classes=12)) for seed in range(60, 70)])
    p = found["p_value"].dropna().to_numpy()
    assert len(p) > 100
    assert (p < 0.05).mean() < 0.08
    assert 0.3 < p.mean() < 0.75
    every = found[found["fitting_type"].astype(str) == ALL[0]]
    seen, expected = (every["note"].str.extract(r"^(\d+) seen, ([\d.]+) predicted").astype(float).sum()).to_numpy()
    assert seen / expected == pytest.approx(1.0, abs=0.03)


def test_two_populations_show() -> None:
    """A third of all parts cracks at 6 to 7 years, the rest late (a curve no Weibull has): all together it shows."""
    fleet, truth = simulate(71, 60, places=40, classes=4, followed_up=0.5)
    rng = np.random.default_rng(1)
    early = rng.random(fleet.life_count) < 0.33
    onset = np.where(early, 6.0 + rng.random(fleet.life_count), 60.0 + truth.onset_years)
    row = fleet.look_code // 4
    cracked = fleet.look_age > onset[fleet.look_life]
    shows = rng.random(len(row)) < np.where(cracked, FOUND[row], FALSE_CALL[row])
    kind = np.where(~shows, 0, np.where(rng.random(len(row)) < 0.5, 1, np.where(cracked, 2, 3)))
    mixed = replace(fleet, look_code=row * 4 + kind, copy_entry=np.zeros(fleet.life_count))
    rows = rows_of(mixed, truth)
    assert rows.loc[rows["fitting_type"].astype(str) == ALL[0], "p_value"].iloc[0] < 0.001
