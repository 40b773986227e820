"""Small made-up fleets as frames, for the tests of ranking, guidance, plan and alerts (all invented, seeded)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

AS_OF = date(2026, 10, 31)
KINDS = (
    ("chainplate", "stainless 316", "mast_out", 2.4, 18.0),
    ("mast tang", "stainless 316", "aloft", 2.0, 22.0),
    ("keel bolt", "stainless 304", "keel_off", 2.2, 30.0),
    ("pintle", "bronze", "hauled", 1.8, 35.0),
    ("gooseneck", "aluminium", "afloat", 1.5, 25.0),
)
SERVICES = ("charter", "school", "club", "private")
METHODS = (("visual", "in_place"), ("penetrant", "removed"), ("magnified", "removed"))


@dataclass(frozen=True, slots=True)
class Frames:
    """One fleet: the frames that decisions are made from."""

    lives: pd.DataFrame
    looks: pd.DataFrame
    chances: pd.DataFrame
    classes: pd.DataFrame
    class_draws: pd.DataFrame
    boats: pd.DataFrame


def fleet(seed: int, *, boat_count: int = 6, per_kind: int = 2, draws: int = 200) -> Frames:
    """Return an invented fleet with every sort of life: looked at, never, below minima, voided, open, no chance."""
    rng = np.random.default_rng(seed)
    boats = boat_rows(rng, boat_count)
    lives, looks = life_rows(rng, boats, per_kind)
    return Frames(lives, looks, chance_rows(rng, lives), class_rows(lives), draw_rows(rng, draws), boats)


def boat_rows(rng: np.random.Generator, count: int) -> pd.DataFrame:
    ids = [f"B{i:03d}" for i in range(count)]
    frame = pd.DataFrame({"boat_id": ids, "boat_name": [f"Invented {i}" for i in range(count)]})
    frame["design"] = [("Alder 30", "Birch 36")[i % 2] for i in range(count)]
    frame["service"] = [SERVICES[int(i)] for i in rng.integers(0, 4, count)]
    for name in ("built", "joined", "left"):
        frame[f"{name}_earliest"] = pd.Series([pd.NaT] * count, dtype="datetime64[ns]")
        frame[f"{name}_latest"] = pd.Series([pd.NaT] * count, dtype="datetime64[ns]")
    return frame


def life_rows(rng: np.random.Generator, boats: pd.DataFrame, per_kind: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    lives, looks = [], []
    for boat_id in boats["boat_id"]:
        for kind in KINDS:
            for place in range(per_kind):
                life, seen = one_life(rng, boat_id, f"{kind[0].replace(' ', '-')}-{place}", kind)
                lives.append(life)
                looks.extend(seen)
    return pd.DataFrame(lives), looks_frame(looks)


def looks_frame(looks: list[dict[str, object]]) -> pd.DataFrame:
    columns = ["life_id", "look_years", "look_on", "method", "scope", "shows", "verdict", "grade", "grade_reason"]
    frame = pd.DataFrame(looks, columns=[*columns, "trigger", "file", "line"])
    frame["look_on"] = pd.to_datetime(frame["look_on"])
    return frame


def one_life(
    rng: np.random.Generator, boat_id: str, fitting_id: str, kind: tuple[str, str, str, float, float]
) -> tuple[dict[str, object], list[dict[str, object]]]:
    age = round(float(rng.uniform(1, 20)), 2)
    life_id = f"{boat_id}/{fitting_id}/1"
    installed = AS_OF - timedelta(days=round(age * 365.25))
    looks = [look(rng, life_id, installed, years) for years in sorted(rng.uniform(0, age, int(rng.integers(0, 4))))]
    clear = [x for x in looks if x["shows"] == "clear"]
    found = [x for x in looks if x["shows"] == "indication"]
    is_voided = bool(clear and not found and rng.random() < 0.2)
    last_clear = float(clear[-1]["look_years"]) if clear else np.nan  # type: ignore[arg-type]
    first_found = float(found[0]["look_years"]) if found else np.inf  # type: ignore[arg-type]
    before = [float(x["look_years"]) for x in clear if float(x["look_years"]) < first_found]  # type: ignore[arg-type]
    valid = clear + found
    return {
        "life_id": life_id,
        "boat_id": boat_id,
        "fitting_id": fitting_id,
        "part_number": 1,
        "fitting_type": kind[0],
        "material": kind[1],
        "entry_years": 0.0,
        "lower_years": max(before, default=0.0),
        "upper_years": first_found,
        "look_count": len(looks),
        "valid_look_count": len(valid),
        "clear_count": len(clear),
        "indication_count": len(found),
        "left_out": None,
        "age_basis": str(rng.choice(["stated", "rough", "bounded"])),
        "installed_on": pd.Timestamp(installed),
        "ended_on": pd.Timestamp(AS_OF),
        "end_reason": "in_service",
        "age_years": age,
        "is_in_service": True,
        "open_indication_on": found[0]["look_on"] if found else pd.NaT,
        "last_valid_look": max((x["look_on"] for x in valid), default=pd.NaT),  # type: ignore[type-var]
        "last_method": valid[-1]["method"] if valid else None,
        "last_clear_years": last_clear,
        "ranking_clear_years": np.nan if is_voided else last_clear,
        "voided_by": "grounding 2026-05-01" if is_voided else None,
        "voided_before": pd.Timestamp("2026-05-01") if is_voided else pd.NaT,
        "moved_from": None,
        "position": None,
        "supplier": str(rng.choice(["North Yard", "South Yard"])),
        "batch": f"L{int(rng.integers(0, 3))}",
        "through_deck": None,
        "access": kind[2],
        "consequence": np.nan,
        "consequence_reason": None,
    }, looks


def look(rng: np.random.Generator, life_id: str, installed: date, years: float) -> dict[str, object]:
    method, scope = METHODS[int(rng.integers(0, 3))]
    shows = str(rng.choice(["clear", "indication", "nothing"], p=[0.7, 0.08, 0.22]))
    return {
        "life_id": life_id,
        "look_years": float(years),
        "look_on": pd.Timestamp(installed + timedelta(days=int(years * 365.25))),
        "method": method,
        "scope": scope,
        "shows": shows,
        "verdict": "open" if shows == "indication" else None,
        "grade": "below_minima" if shows == "nothing" else "valid",
        "grade_reason": None,
        "trigger": "scheduled",
        "file": "looks.csv",
        "line": int(rng.integers(2, 1_000_000)),
    }


def chance_rows(rng: np.random.Generator, lives: pd.DataFrame) -> pd.DataFrame:
    logit = rng.normal(-3, 1.2, len(lives))
    sd = rng.uniform(0.2, 0.9, len(lives))
    now = logit - rng.uniform(0.05, 1.0, len(lives))
    frame = pd.DataFrame({"life_id": lives["life_id"], "logit_sd": sd, "basis": "own", "model": "invented"})
    for name, value in (("chance", logit), ("chance_lower", logit - 1.645 * sd), ("chance_upper", logit + 1.645 * sd)):
        frame[name] = 1 / (1 + np.exp(-value))
    frame["chance_now"] = 1 / (1 + np.exp(-now))
    unknown = rng.random(len(lives)) < 0.1
    numbers = ["chance", "chance_lower", "chance_upper", "chance_now", "logit_sd"]
    frame.loc[unknown, numbers] = np.nan
    frame.loc[unknown, "basis"] = "none"
    is_open = lives["open_indication_on"].notna().to_numpy()
    frame.loc[is_open, numbers] = [1.0, 1.0, 1.0, 1.0, 0.0]
    return frame


def class_rows(lives: pd.DataFrame) -> pd.DataFrame:
    rows = []
    for kind, material, _, shape, scale in KINDS:
        mine = lives[lives["fitting_type"] == kind]
        rows.append(
            {
                "fitting_type": kind,
                "material": material,
                "life_count": len(mine),
                "boat_count": mine["boat_id"].nunique(),
                "event_count": int(np.isfinite(mine["upper_years"]).sum()),
                "oldest_years": 16.0,
                "shape": shape,
                "scale_years": scale,
                "evidence": "enough",
                "model": "invented",
                "left_out_count": 0,
            }
        )
    return pd.DataFrame(rows)


def draw_rows(rng: np.random.Generator, draws: int, boat_sd: float = 0.2) -> pd.DataFrame:
    frames = []
    for kind, material, _, shape, scale in KINDS:
        wobble = np.concatenate([[0.0], rng.normal(0, 1, draws)])
        other = np.concatenate([[0.0], rng.normal(0, 1, draws)])
        frames.append(
            pd.DataFrame(
                {
                    "fitting_type": kind,
                    "material": material,
                    "draw": np.arange(draws + 1),
                    "log_scale": np.log(scale) + 0.15 * wobble,
                    "log_shape": np.log(shape) + 0.1 * other,
                    "boat_sd": boat_sd,
                }
            )
        )
    return pd.concat(frames, ignore_index=True)


def slot_rows(
    rng: np.random.Generator, weeks: int = 4, *, boats_max: int = 2, hours_max: float = np.nan
) -> pd.DataFrame:
    """Return a yard of two slots over some weeks from just after the as-of date."""
    rows = []
    for week in range(weeks):
        for slot_id, access in (("east", "hauled;keel_off;engine_bay;afloat;aloft"), ("west", None)):
            starts = AS_OF + timedelta(days=2 + 7 * week + int(rng.integers(0, 3)))
            row = {"slot_id": slot_id, "starts_on_earliest": pd.Timestamp(starts), "boats_max": boats_max}
            rows.append(row | {"hours_max": hours_max, "access": access})
    return pd.DataFrame(rows)


def availability_rows(rng: np.random.Generator, boats: pd.DataFrame, weeks: int = 4) -> pd.DataFrame:
    """Return free time for about half the boats, some of it in two spans that touch."""
    rows = []
    for boat_id in boats["boat_id"]:
        if rng.random() < 0.5:
            first = AS_OF + timedelta(days=int(rng.integers(0, 7 * weeks)))
            middle = first + timedelta(days=int(rng.integers(3, 15)))
            rows += [(boat_id, first, middle), (boat_id, middle + timedelta(days=1), middle + timedelta(days=9))]
    frame = pd.DataFrame(rows, columns=["boat_id", "from", "to"])
    ends = {f"{name}_{end}": pd.to_datetime(frame[name]) for name in ("from", "to") for end in ("earliest", "latest")}
    return frame.assign(**ends)


NO_PRICES = pd.DataFrame({"access": [], "fitting_type": [], "action": [], "cost": [], "hours": []})
