"""Whole fleets drawn at random, with the mess that people's files have: names, rough days, wrong cells, odd files.

Nothing here is likely; everything here can be met. One seed is one fleet, its files and its settings.
"""

from __future__ import annotations

import csv
import io
import json
from random import Random
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from pathlib import Path

TYPES = ("chainplate", "keel bolt", "seacock", "clevis pin", "Püttings", "cadène", "thing of the yard's own")
MATERIALS = ("316 stainless", "bronze", "DZR brass", "titanium", "Niro", "??")
METHODS = ("visual", "magnified", "penetrant", "fluorescent_penetrant", "ultrasonic", "Dye Pen", "kicked it", "")
RESULTS = ("no_indication",) * 8 + (
    "relevant", "relevant", "non_relevant", "false", "inconclusive", "not_inspected", "failed", "OK", "Riss", "", "hm",
)  # fmt: skip
BOAT_NAMES = ("Sallow", "Ness, the second", "<b>Tindle</b>", "=1+1", "Öre", "{{ x }}", "Ombra\u202e", "")
GARBAGE = ("?", "n/a", "-", "12,5", "31.02.2015", "9999-99-99", "-4", "x" * 300, "0", "1e400", "ja")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "cp1252")


def files_of(seed: int, folder: Path) -> list[Path]:
    """Write one fleet's files and its bobstay.toml in `folder`; return the files, settings left out."""
    dice = Random(seed)
    boats = [_boat(dice, i) for i in range(dice.randint(1, 7))]
    fittings = [f for boat in boats for f in _fittings(dice, boat)]
    looks = [look for f in fittings for look in _looks(dice, f)]
    dice.shuffle(looks)
    tables: dict[str, list[dict[str, Any]]] = {"boats": boats, "fittings": fittings, "inspections": looks}
    if dice.random() < 0.5:
        tables["events"] = [_event(dice, boats) for _ in range(dice.randint(1, 4))]
    if dice.random() < 0.6:
        tables["slots"] = [_slot(dice, i) for i in range(dice.randint(1, 5))]
    if dice.random() < 0.3:
        tables["availability"] = [_availability(dice, boats) for _ in range(2)]
    (folder / "bobstay.toml").write_text(_settings(dice), encoding="utf-8")
    return [_written(dice, folder, name, [_messed(dice, row) for row in rows]) for name, rows in tables.items() if rows]


def _day(dice: Random, low: int = 2000, high: int = 2026) -> str:
    year, month, day = dice.randint(low, high), dice.randint(1, 12), dice.randint(1, 28)
    forms = [f"{year}-{month:02}-{day:02}"] * 8 + [
        f"{year}",
        f"{year}-{month:02}",
        f"{year}~",
        f"../{year}",
        "XXXX",
        "",
    ]
    return dice.choice(forms)


def _boat(dice: Random, number: int) -> dict[str, Any]:
    return {
        "boat_id": dice.choice([f"B{number}", f"b {number}", f"../{number}", f"Ø{number}", f"B0{number}O"]),
        "boat_name": dice.choice(BOAT_NAMES),
        "built": _day(dice, 1970, 2015),
        "joined": dice.choice(["", "", _day(dice, 2005, 2020)]),
        "left": dice.choice([""] * 5 + [_day(dice, 2018, 2026)]),
        "service": dice.choice(["charter", "school", "club", "private", ""]),
        "water": dice.choice(["salt", "brackish", "fresh", ""]),
        "climate": dice.choice(["cold", "temperate", "warm", ""]),
        "hours_per_year": dice.choice(["", "120", "800"]),
    }


def _fittings(dice: Random, boat: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "boat_id": boat["boat_id"],
            "fitting_id": dice.choice([f"P{i}", f"p {i}", f"P/{i}"]),
            "fitting_type": dice.choice(TYPES[: dice.randint(1, len(TYPES))]),
            "material": dice.choice(MATERIALS[: dice.randint(1, len(MATERIALS))]),
            "installed": dice.choice(["", _day(dice, 1980, 2024)]),
            "removed": dice.choice([""] * 6 + [_day(dice, 2010, 2026)]),
            "removal_reason": dice.choice(["", "preventive", "indication"]),
            "through_deck": dice.choice(["yes", "no", ""]),
            "access": dice.choice(["afloat", "hauled", "mast_out", ""]),
            "supplier": dice.choice(["", "S1", "S2"]),
            "batch": dice.choice(["", "7", "8"]),
            "consequence": dice.choice(["", "1", "4", "5"]),
        }
        for i in range(dice.randint(0, 9))
    ]


def _looks(dice: Random, fitting: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "boat_id": dice.choice([fitting["boat_id"]] * 12 + ["nobody's"]),
            "fitting_id": dice.choice([fitting["fitting_id"]] * 9 + [""]),
            "inspected_on": _day(dice, 2004, 2027),
            "method": dice.choice(METHODS),
            "result": dice.choice(RESULTS),
            "scope": dice.choice(["removed", "in_place", ""]),
            "surface_cleaned": dice.choice(["yes", "no", ""]),
            "part_temp_c": dice.choice(["", "20", "3"]),
            "penetrant_dwell_min": dice.choice(["", "10", "2"]),
            "disposition": dice.choice(["", "confirmed", "unfounded", "open"]),
            "action": dice.choice(["", "", "replaced", "none", "blended"]),
            "trigger": dice.choice(["", "scheduled", "suspicion"]),
            "note": dice.choice(["", "as told", "<i>port</i>", "two\nlines", 'with "quotes"']),
        }
        for _ in range(dice.randint(0, 9))
    ]


def _event(dice: Random, boats: list[dict[str, Any]]) -> dict[str, Any]:
    kinds = ["grounding", "collision", "lightning", "refit", "other", "party"]
    return {"boat_id": dice.choice(boats)["boat_id"], "happened_on": _day(dice), "kind": dice.choice(kinds),
            "fitting_types": dice.choice(["", "chainplate", "keel bolt;seacock"])}  # fmt: skip


def _slot(dice: Random, number: int) -> dict[str, Any]:
    return {
        "slot_id": f"W{number}",
        "starts_on": f"2027-0{dice.randint(1, 9)}-04",
        "boats_max": dice.choice(["0", "1", "3"]),
        "hours_max": dice.choice(["", "5", "80"]),
        "access": dice.choice(["", "hauled", "hauled;mast_out;keel_off"]),
    }


def _availability(dice: Random, boats: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "boat_id": dice.choice(boats)["boat_id"],
        "from": "2027-01-01",
        "to": dice.choice(["2027-04-01", "2026-01-01"]),
    }


def _messed(dice: Random, row: dict[str, Any]) -> dict[str, Any]:
    if dice.random() < 0.04:
        return row | {dice.choice(list(row)): dice.choice(GARBAGE)}
    return row


def _written(dice: Random, folder: Path, name: str, rows: list[dict[str, Any]]) -> Path:
    if dice.random() < 0.03:
        rows = rows + rows[:2]
    match dice.choice(["csv", "csv", "csv", "xlsx", "parquet"]):
        case "xlsx":
            path = folder / f"{name}.xlsx"
            plain = [{k: str(v).replace("\u202e", "") for k, v in row.items()} for row in rows]
            pd.DataFrame(plain).to_excel(path, index=False)
        case "parquet":
            path = folder / f"{name}.parquet"
            pd.DataFrame(rows).astype(str).to_parquet(path, index=False)
        case _:
            path = folder / f"{name}.csv"
            path.write_bytes(_csv(dice, rows))
    return path


def _csv(dice: Random, rows: list[dict[str, Any]]) -> bytes:
    made = io.StringIO()
    mark = dice.choice([",", ";", "\t"])
    writer = csv.DictWriter(made, list(rows[0]), delimiter=mark, lineterminator=dice.choice(["\n", "\r\n"]))
    writer.writeheader()
    writer.writerows(rows)
    text = made.getvalue()
    if dice.random() < 0.2:
        text += dice.choice(["\n\n", f"Total{mark}{len(rows)}\n", "as told by the yard\n"])
    return text.encode(dice.choice(ENCODINGS), errors="replace")


def _settings(dice: Random) -> str:
    said = {
        "detection": dice.choice(["imperfect", "imperfect", "perfect"]),
        "pooling": dice.choice(["crossed", "none"]),
        "boat_effect": dice.choice([True, False]),
        "minimum_events": dice.choice([1, 3, 5]),
        "draws": 100,
    }
    lines = [f"horizon_months = {dice.choice([1, 12, 60])}", "[estimate]"]
    lines += [f"{key} = {json.dumps(value)}" for key, value in said.items()]
    if dice.random() < 0.3:
        lines += ["[plan]", f"budget = {dice.choice([0, 500, 20000])}"]
    return "\n".join(lines) + "\n"
