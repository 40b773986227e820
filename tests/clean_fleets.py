"""Simulated fleets in which nothing is wrong: no bad batch, no bad yard, no bad season; boats differ as boats do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from bobstay.estimate import estimate
from bobstay.settings import Settings
from simulated_fleet import simulate
from simulated_frames import AS_OF, frames

SUPPLIERS = ("North", "South", "East", "West", "Quay")


@dataclass(frozen=True)
class CleanFleet:
    """One fleet as alerts need it, with its estimate."""

    lives: pd.DataFrame
    looks: pd.DataFrame
    boats: pd.DataFrame
    classes: pd.DataFrame
    detection: pd.DataFrame
    class_draws: pd.DataFrame
    settings: Settings
    as_of: date = AS_OF


def clean_fleet(seed: int, *, boats: int = 40, places: int = 25, classes: int = 8) -> CleanFleet:
    """Return a fleet of boats of known truth, estimated as a run would, with suppliers, batches and home ports."""
    fleet, truth = simulate(seed, boats, places=places, classes=classes)
    lives, looks, boat_frame = frames(fleet, truth)
    lives, looks = with_marks(lives, looks, np.random.default_rng(seed + 10_000))
    boat_frame["home_port"] = [f"port {i % 4}" for i in range(len(boat_frame))]
    boat_frame["design"] = None
    settings = replace(Settings(), estimate=replace(Settings().estimate, draws=100))
    made = estimate(lives, looks, boat_frame, as_of=AS_OF, settings=settings)
    return CleanFleet(lives, looks, boat_frame, made.classes, made.detection, made.class_draws, settings)


def with_marks(lives: pd.DataFrame, looks: pd.DataFrame, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Add what records say of every part and look: suppliers (one a boat and type when new), batches by year, rows."""
    first = pd.factorize(lives["boat_id"] + lives["fitting_type"])[0]
    by_boat = rng.integers(0, len(SUPPLIERS), first.max() + 1)[first]
    own = rng.integers(0, len(SUPPLIERS), len(lives))
    is_renewed = lives["entry_years"].eq(0).to_numpy()
    supplier = np.array(SUPPLIERS)[np.where(is_renewed, own, by_boat)]
    year = pd.to_datetime(lives["installed_on"]).dt.year.astype(str)
    valid = looks.groupby("life_id").size().reindex(lives["life_id"]).fillna(0).astype(int).to_numpy()
    marked = lives.assign(
        supplier=supplier,
        batch=supplier + "-" + year.to_numpy(),
        valid_look_count=valid,
        fitting_id=lives["life_id"],
        consequence=np.nan,
        moved_from=None,
        indication_count=0,
    )
    rows = looks.assign(trigger="scheduled", file="looks.csv", line=np.arange(len(looks)) + 2, grade_reason=None)
    return marked, rows
