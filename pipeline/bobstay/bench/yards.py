"""Invented fleets and yards in which something is scarce, for timing plans and for their tests (all seeded).

Kinds of jobs, their hours, money and losses are of the size they have in the demo fleet; nothing here is a record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from bobstay.settings import Settings

if TYPE_CHECKING:
    from numpy.typing import NDArray

AS_OF = date(2026, 10, 31)
WEEKS = 26
SCARCE = ("places", "hours", "money", "service", "all")
# fitting type, action, access, places on a boat, share of them with the job, median loss avoided, its spread (log)
_KINDS = (
    ("chainplate", "test", "mast_out", 6, 0.6, 5.0, 0.6),
    ("chainplate", "replace", "mast_out", 2, 0.3, 28.0, 0.4),
    ("swaged terminal", "test", "mast_out", 6, 0.5, 4.5, 0.6),
    ("swaged terminal", "replace", "mast_out", 2, 0.3, 25.0, 0.4),
    ("mast tang", "test", "aloft", 4, 0.6, 4.8, 0.6),
    ("toggle", "test", "afloat", 6, 0.5, 4.0, 0.7),
    ("clevis pin", "test", "afloat", 6, 0.4, 4.0, 0.6),
    ("seacock", "replace", "hauled", 3, 0.5, 38.0, 0.7),
    ("rudder stock", "replace", "hauled", 1, 0.4, 22.0, 0.5),
    ("keel bolt", "replace", "keel_off", 4, 0.25, 36.0, 0.6),
    ("exhaust elbow", "replace", "engine_bay", 1, 0.3, 10.0, 0.3),
    ("chainplate", "act_now", "mast_out", 1, 0.08, 80.0, 0.3),
)
_ACTION_PRICES = (
    ("chainplate", 380.0, 3.0),
    ("swaged terminal", 140.0, 1.0),
    ("seacock", 190.0, 2.0),
    ("rudder stock", 2600.0, 12.0),
    ("keel bolt", 220.0, 3.0),
    ("exhaust elbow", 310.0, 2.0),
)
_ACCESS_PRICES = (
    ("afloat", 0.0, 0.0),
    ("aloft", 120.0, 1.0),
    ("engine_bay", 60.0, 1.0),
    ("mast_out", 1400.0, 6.0),
    ("hauled", 900.0, 3.0),
    ("keel_off", 3800.0, 22.0),
)
_CRANE = "afloat;aloft;engine_bay;mast_out"
_SLIP = f"{_CRANE};hauled;keel_off"


@dataclass(frozen=True, slots=True)
class Instance:
    """The tables and settings that one plan is made from."""

    priority: pd.DataFrame
    boats: pd.DataFrame
    slots: pd.DataFrame
    availability: pd.DataFrame
    prices: pd.DataFrame
    settings: Settings


def instance(seed: int, boats: int, *, scarce: str = "all") -> Instance:
    """Return an invented fleet of `boats` and yards over 26 weeks; `scarce` names what is short (one of `SCARCE`)."""
    rng = np.random.default_rng(seed)
    ids = np.array([f"B{i:05d}" for i in range(boats)])
    short = set(SCARCE) if scarce == "all" else {scarce}
    budget = (1150.0 if scarce == "money" else 700.0) * boats if "money" in short else float("inf")
    kept = 1.0 - max(0.03, 3.9 / boats) if "service" in short else 0.0
    settings = Settings()
    return Instance(
        priority=_priority(rng, ids),
        boats=_boats(rng, ids),
        slots=_slots(boats, places=0.6 if "places" in short else 1.3, hours=8.0 if "hours" in short else np.inf),
        availability=_availability(rng, ids),
        prices=_prices(),
        settings=replace(settings, plan=replace(settings.plan, budget=budget, minimum_in_service=kept)),
    )


def _priority(rng: np.random.Generator, ids: NDArray[np.str_]) -> pd.DataFrame:
    frames = [_jobs(rng, ids, number) for number in range(len(_KINDS))]
    frame = pd.concat(frames, ignore_index=True).sort_values(["boat_id", "fitting_id"], ignore_index=True)
    return frame.assign(material="stainless 316", boat_name="Invented " + frame["boat_id"], method=None)


def _jobs(rng: np.random.Generator, ids: NDArray[np.str_], number: int) -> pd.DataFrame:
    """Return the jobs of one kind; half of how much a boat stands to lose is hers alone, so boats differ."""
    fitting_type, action, access, places, share, median, spread = _KINDS[number]
    boat, place = np.nonzero(rng.random((len(ids), places)) < share)
    own = rng.normal(0.0, spread / 2, len(ids))
    avoided = median * np.exp(own[boat] + rng.normal(0.0, spread, len(boat)))
    return pd.DataFrame(
        {
            "boat_id": ids[boat],
            "fitting_id": [f"{number:02d}-{p}" for p in place],
            "fitting_type": fitting_type,
            "action": action,
            "access": access,
            "expected_loss": avoided / 0.3,
            "loss_avoided": avoided,
            "loss_avoided_lower": avoided / 2,
            "loss_avoided_upper": avoided * 2,
        }
    )


def _boats(rng: np.random.Generator, ids: NDArray[np.str_]) -> pd.DataFrame:
    service = np.array(["charter", "school", "club"])[rng.integers(0, 3, len(ids))]
    nothing = pd.Series([pd.NaT] * len(ids), dtype="datetime64[ns]")
    port = np.array(["Invented Haven", "Invented Sound"])[rng.integers(0, 2, len(ids))]
    return pd.DataFrame({"boat_id": ids, "service": service, "home_port": port, "left_latest": nothing})


def _slots(boats: int, *, places: float, hours: float) -> pd.DataFrame:
    """Return slots that together hold `places` boats a boat, each with `hours` of work a place (not less than 32)."""
    yards = 2 if boats < 200 else 4 if boats < 2000 else 10
    rows = []
    for week in range(WEEKS):
        for yard in range(yards):
            first = round(places * boats * (week * yards + yard) / (WEEKS * yards))
            count = round(places * boats * (week * yards + yard + 1) / (WEEKS * yards)) - first
            starts = pd.Timestamp(AS_OF + timedelta(days=2 + 7 * week))
            limit = np.nan if np.isinf(hours) else max(32.0, hours * count)
            rows.append((f"yard {yard}", starts, count, limit, _CRANE if yard % 2 else _SLIP))
    return pd.DataFrame(rows, columns=["slot_id", "starts_on_earliest", "boats_max", "hours_max", "access"])


def _availability(rng: np.random.Generator, ids: NDArray[np.str_]) -> pd.DataFrame:
    """Return a free span of 5 to 17 weeks for two boats in three; the others are always free."""
    some = ids[rng.random(len(ids)) < 2 / 3]
    first = rng.integers(0, WEEKS - 4, len(some))
    length = rng.integers(5, 18, len(some))
    begin = pd.Timestamp(AS_OF) + pd.to_timedelta(2 + 7 * first, unit="D")
    end = begin + pd.to_timedelta(7 * length, unit="D")
    return pd.DataFrame({"boat_id": some, "from_latest": begin, "to_earliest": end})


def _prices() -> pd.DataFrame:
    types = sorted({kind[0] for kind in _KINDS})
    rows: list[tuple[str | None, str | None, str | None, float, float]]
    rows = [(access, None, None, cost, hours) for access, cost, hours in _ACCESS_PRICES]
    rows += [(None, fitting_type, "test", 35.0, 0.5) for fitting_type in types]
    rows += [(None, fitting_type, "replace", cost, hours) for fitting_type, cost, hours in _ACTION_PRICES]
    return pd.DataFrame(rows, columns=["access", "fitting_type", "action", "cost", "hours"])
