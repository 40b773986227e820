"""A small invented fleet as the stages would leave it in the store, for tests of pages alone.

Every number here is made up by a seeded generator; none of it is an estimate. Hostile words are planted on purpose.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay import store, tables

if TYPE_CHECKING:
    import duckdb

AS_OF = date(2026, 10, 31)
HOSTILE_NAME = "<script>alert(1)</script>"
NAMES = (
    "Aldebaran Ness",
    "Quarterlight",
    "Tindle",
    "Brackwater",
    "Sallow",
    HOSTILE_NAME,
    "Ombra",
    "Fennelback",
    "Old Copper",
    "Windhover's Aunt",
    "Lanthorn",
    "Nib & Tucker",
)
BOAT_IDS = ("B01", "b01", "B/03", "B 04", "../B05", "B<06>", "B07", "B08", "B09", "B10", "B11", "Bå12")
CLASSES = (
    ("chainplate", "304 stainless", 4),
    ("mast tang", "316 stainless", 4),
    ("keel bolt", "316 stainless", 5),
    ("seacock", "DZR brass", 5),
    ("gooseneck", "aluminium 6082", 2),
    ("clevis pin", "bronze", 4),
)
_KINDS = {"integer": "BIGINT", "number": "DOUBLE", "yes_no": "BOOLEAN"}


def build(con: duckdb.DuckDBPyConnection, *, estimates: bool = True, more_boats: int = 0) -> None:
    """Write every input and output table; without `estimates` no chance and no class has a number.

    `more_boats` adds boats of 16 fittings each, for the size of pages alone.
    """
    rng = np.random.default_rng(7)
    for table in tables.INPUTS:
        con.execute(f'CREATE OR REPLACE TABLE "{table.name}" ({_input_columns(table)})')
    _boats(con)
    _slots(con)
    fittings = _fittings(rng) + [f for i in range(more_boats) for f in _more(con, rng, i)]
    frames: dict[str, list[dict[str, Any]]] = {
        "lives": [f["life"] for f in fittings],
        "life_looks": [look for f in fittings for look in f["looks"]],
        "priority": _priority(fittings, estimates=estimates),
        "classes": [_class(i, c, estimates=estimates) for i, c in enumerate(CLASSES)],
        "class_draws": _draws(rng) if estimates else [],
        "chances": [],
        "detection": _detection(),
        "nonparametric": _steps(),
        "guidance": [_guidance(i, c) for i, c in enumerate(CLASSES)],
        "haul_plan": _jobs(fittings),
        "plan_summary": [
            {
                "cost": 8200.0,
                "hours": 41.5,
                "loss_avoided": 310.0,
                "loss_avoided_lower": 160.0,
                "loss_avoided_upper": 540.0,
                "loss_left": 120.0,
                "bound": 325.0,
                "gap": 15 / 325,
                "boats_planned": 4,
                "boats_waiting": 3,
                "binding": "hours of yard 1",
            }
        ],
        "coverage": _coverage(fittings),
        "alerts": [
            {
                "kind": "batch",
                "subject": "seacock, DZR brass, batch Q7",
                "seen": 6.0,
                "expected": 1.4,
                "p_value": 0.001,
                "p_adjusted": 0.02,
                "note": "Six of eight of this batch showed an indication; 1.4 were expected.",
            }
        ],
        "set_aside": [
            {
                "file": "looks.csv",
                "line": 9,
                "table": "inspections",
                "column": "result",
                "value": "<b>fine</b>",
                "reason": "unknown word in result",
                "hint": "did you mean no_indication?",
                "row_json": "{}",
            }
        ],
        "cells_unread": [
            {
                "file": "looks.csv",
                "line": 12,
                "table": "inspections",
                "column": "part_temp_c",
                "value": "warm",
                "reason": "not a number",
                "hint": "degrees Celsius",
            }
        ],
        "files": [
            {
                "file_id": 1,
                "file": "looks.csv",
                "part": "-",
                "table": "inspections",
                "sha256": "ab" * 32,
                "encoding": "utf-8",
                "rows_read": 200,
                "rows_used": 199,
                "rows_set_aside": 1,
                "cells_unread": 1,
                "rows_known": 40,
                "rows_superseding": 2,
                "rows_renamed": 0,
            }
        ],
        "words_merged": [
            {
                "column": "fitting_type",
                "word": HOSTILE_NAME,
                "shown_as": "chainplate",
                "canonical": "chainplate",
                "rows": 3,
            }
        ],
        "superseded": [
            {
                "table": "inspections",
                "boat_id": "B01",
                "file": "looks.csv",
                "line": 4,
                "by_file": "looks.csv#2",
                "by_line": 4,
                "change": change,
                "what": f"note: {HOSTILE_NAME} -> not stated",
                "confirmed_by": name,
                "reason": name and HOSTILE_NAME,
                "row_json": "{}",
            }
            for change, name in (("weakens_indication", "A. Nwosu"), ("moves_history", None), ("other", None))
        ],
    }
    for name, rows in frames.items():
        table = tables.OUTPUT_BY_NAME[name]
        frame = pd.DataFrame(rows, columns=[c.name for c in table.columns])
        store.write(con, table, frame.astype(object) if frame.empty else frame)


def _input_columns(table: tables.InputTable) -> str:
    columns = []
    for c in table.columns:
        columns.append(f'"{c.name}" {_KINDS.get(c.kind, "VARCHAR")}')
        if c.kind == "date":
            columns += [f'"{c.name}_earliest" DATE', f'"{c.name}_latest" DATE']
    return ", ".join([*columns, "file_id BIGINT", "line BIGINT", "extra VARCHAR"])


def _boats(con: duckdb.DuckDBPyConnection) -> None:
    for i, (boat_id, name) in enumerate(zip(BOAT_IDS, NAMES, strict=True)):
        built = date(1994 + i, 1, 1)
        con.execute(
            "INSERT INTO boats (boat_id, boat_name, design, built, built_earliest, built_latest, service, water, "
            "climate, hours_per_year, home_port, file_id, line) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 1, ?)",
            [
                boat_id,
                name,
                "Sloop 34",
                str(built.year),
                built,
                built.replace(month=12, day=31),
                ("charter", "school", "club")[i % 3],
                ("salt", "brackish", "fresh")[i % 3],
                "temperate",
                300.0,
                "Port Harrow",
                i + 2,
            ],
        )


def _slots(con: duckdb.DuckDBPyConnection) -> None:
    for week in range(8):
        for yard in ("yard 1", "slip 2"):
            start = date(2026, 11, 2) + timedelta(weeks=week)
            con.execute(
                "INSERT INTO slots (slot_id, starts_on, starts_on_earliest, starts_on_latest, boats_max, hours_max, "
                "access, file_id, line) VALUES (?, ?, ?, ?, 2, 12.0, 'mast_out;hauled', 1, 2)",
                [yard, str(start), start, start],
            )


def _fittings(rng: np.random.Generator) -> list[dict[str, Any]]:
    made = []
    for boat_id in BOAT_IDS:
        for j, (kind, material, consequence) in enumerate(CLASSES):
            if rng.random() < 0.15:
                continue
            age = float(rng.uniform(2, 24))
            made.append(_fitting(rng, boat_id, f"{kind} {j}", kind, material, consequence, age))
    return made


def _more(con: duckdb.DuckDBPyConnection, rng: np.random.Generator, i: int) -> list[dict[str, Any]]:
    boat_id = f"C{i:04d}"
    con.execute("INSERT INTO boats (boat_id, boat_name) VALUES (?, ?)", [boat_id, f"Charlotte of Harrow {i}"])
    return [_fitting(rng, boat_id, f"kind {j} 1", f"kind {j}", "bronze", 3, 8.0) for j in range(16)]


def _fitting(
    rng: np.random.Generator, boat_id: str, place: str, kind: str, material: str, consequence: int, age: float
) -> dict[str, Any]:
    life_id = f"{boat_id}/{place}/1"
    installed = AS_OF - timedelta(days=round(age * 365.25))
    looked, found = bool(rng.random() < 0.7), bool(rng.random() < 0.08)
    look_on = AS_OF - timedelta(days=int(rng.integers(30, 700)))
    looks = [
        {
            "life_id": life_id,
            "look_years": age - 1,
            "look_on": look_on,
            "method": "penetrant",
            "scope": "removed",
            "result": "relevant" if found else "no_indication",
            "shows": "indication" if found else "clear",
            "verdict": "open" if found else "none",
            "grade": "valid",
            "grade_reason": None,
            "trigger": "scheduled",
            "file": "looks.csv",
            "line": 7,
        }
    ]
    poor = [
        {
            "life_id": life_id,
            "look_years": age - 2,
            "look_on": look_on - timedelta(days=365),
            "method": "penetrant",
            "scope": "in_place",
            "result": "no_indication",
            "shows": "nothing",
            "verdict": "none",
            "grade": "below_minima",
            "grade_reason": "the part was at 4 C, below 10",
            "trigger": "scheduled",
            "file": "looks.csv",
            "line": 8,
        }
    ]
    life = {c.name: None for c in tables.LIVES.columns} | {
        "life_id": life_id,
        "boat_id": boat_id,
        "fitting_id": place,
        "part_number": 1,
        "fitting_type": kind,
        "material": material,
        "entry_years": 0.0,
        "lower_years": age - 1 if looked else 0.0,
        "upper_years": float("inf"),
        "look_count": 2,
        "valid_look_count": int(looked),
        "clear_count": int(looked and not found),
        "indication_count": int(looked and found),
        "age_basis": "stated",
        "installed_on": installed,
        "installed_latest": installed,
        "ended_on": AS_OF,
        "end_reason": "in_service",
        "age_years": age,
        "is_in_service": True,
        "open_indication_on": look_on if looked and found else None,
        "last_valid_look": look_on if looked else None,
        "last_method": "penetrant" if looked else None,
        "consequence": consequence,
    }
    chance = 0.995 if looked and found else float(rng.beta(1.2, 6))
    return {
        "life": life,
        "looks": (looks if looked else []) + poor,
        "chance": chance,
        "looked": looked,
        "found": looked and found,
    }


def _priority(fittings: list[dict[str, Any]], *, estimates: bool) -> list[dict[str, Any]]:
    units = {1: 1.0, 2: 10.0, 3: 60.0, 4: 300.0, 5: 1000.0}
    rows = []
    for f in fittings:
        life, chance = f["life"], f["chance"] if estimates else float("nan")
        action = "act_now" if f["found"] else ("test" if chance > 0.1 or not f["looked"] else "leave")
        rows.append(
            {c.name: None for c in tables.PRIORITY.columns}
            | {
                k: life[k]
                for k in (
                    "boat_id",
                    "fitting_id",
                    "fitting_type",
                    "material",
                    "age_years",
                    "last_valid_look",
                    "last_method",
                    "consequence",
                    "life_id",
                )
            }
            | {
                "chance": chance,
                "chance_lower": chance / 2,
                "chance_upper": min(0.999, chance * 1.9),
                "expected_loss": chance * units[life["consequence"]],
                "list": "evidence" if f["looked"] else "nobody_looked",
                "action": action,
                "method": "penetrant" if action == "test" else None,
                "access": "mast_out",
                "position": "port",
                "reason": "A reason in words, with <i>marks</i> that stay text.",
                "boat_name": None,
                "draw": False,
            }
        )
    rows.sort(key=lambda r: (r["action"] != "act_now", -r["expected_loss"], r["boat_id"], r["fitting_id"]))
    counts: dict[str, int] = {}
    for r in rows:
        counts[r["list"]] = r["rank"] = counts.get(r["list"], 0) + 1
        r |= {"tie_group": (r["rank"] + 2) // 3, "rank_lower": max(1, r["rank"] - 2), "rank_upper": r["rank"] + 3}
    return rows


def _class(i: int, c: tuple[str, str, int], *, estimates: bool) -> dict[str, Any]:
    events = (30, 12, 0, 8, 2, 25)[i]
    number = float("nan") if not estimates else 1.0
    return {
        "fitting_type": c[0],
        "material": c[1],
        "life_count": 60,
        "boat_count": 12,
        "event_count": events,
        "oldest_years": 18.0 + i,
        "shape": 2.2 * number,
        "shape_lower": 1.7 * number,
        "shape_upper": 2.9 * number,
        "scale_years": (18.0 + 4 * i) * number,
        "scale_years_lower": (15.0 + 4 * i) * number,
        "scale_years_upper": (24.0 + 4 * i) * number,
        "b10_years": (6.0 + i) * number,
        "b10_years_lower": (5.0 + i) * number,
        "b10_years_upper": (8.5 + i) * number,
        "log_likelihood": -120.0,
        "evidence": "enough" if events > 5 else ("thin" if events else "none"),
        "model": "plain Weibull" if estimates else "refused: no finding",
        "left_out_count": 3,
    }


def _draws(rng: np.random.Generator) -> list[dict[str, Any]]:
    rows = []
    for i, (kind, material, _) in enumerate(CLASSES):
        for draw in range(101):
            jitter = rng.normal(0, 0.1, 2) if draw else np.zeros(2)
            rows.append(
                {
                    "fitting_type": kind,
                    "material": material,
                    "draw": draw,
                    "log_scale": np.log(18 + 4 * i) + jitter[0],
                    "log_shape": np.log(2.2) + jitter[1],
                    "boat_sd": 0.2,
                }
            )
    return rows


def _detection() -> list[dict[str, Any]]:
    return [
        {
            "method": "penetrant",
            "scope": scope,
            "look_count": 120,
            "found": f,
            "found_lower": f - 0.1,
            "found_upper": f + 0.1,
            "false_call": 0.05,
            "false_call_lower": 0.03,
            "false_call_upper": 0.08,
            "found_prior": f,
            "false_call_prior": 0.05,
            "prior_weight": 20.0,
            "indication_count": 22,
            "followed_up_share": 0.4,
            "basis": "estimated",
        }
        for scope, f in (("removed", 0.7), ("in_place", 0.35))
    ]


def _steps() -> list[dict[str, Any]]:
    return [
        {
            "fitting_type": kind,
            "material": material,
            "age_from_years": 3.0 * k,
            "age_to_years": 3.0 * k + 3,
            "survival": 0.97**k,
            "survival_lower": 0.95**k,
            "survival_upper": 0.99**k,
            "at_risk": 60 - 8 * k,
        }
        for kind, material, _ in CLASSES
        for k in range(6)
    ]


def _guidance(i: int, c: tuple[str, str, int]) -> dict[str, Any]:
    return {
        "fitting_type": c[0],
        "material": c[1],
        "test_from_years": 4.0 + i,
        "test_from_years_lower": 3.0 + i,
        "test_from_years_upper": 5.5 + i,
        "retest_years": 2.0,
        "retest_years_lower": 1.5,
        "retest_years_upper": 2.5,
        "replace_by_years": 12.0 + 2 * i,
        "replace_by_years_lower": 10.0 + 2 * i,
        "replace_by_years_upper": 15.0 + 2 * i,
        "binding_rule": "upper bound passes the limit of the class",
        "oldest_years": 18.0 + i,
        "beyond_evidence": i == 4,
        "assumption": "growth assumed 4 years at the median",
        "consequence": c[2],
        "evidence": ("enough", "enough", "none", "enough", "thin", "enough")[i],
        "earliest": "test: our guidance; retest: our guidance; renew: our guidance",
        "looked_count": 20,
        "found_count": 0 if i == 2 else 3,
    }


def _jobs(fittings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    picked = {}
    for f in fittings:
        picked.setdefault(f["life"]["boat_id"], []).append(f["life"])
    jobs = []
    for k, boat_id in enumerate(BOAT_IDS[:4]):
        jobs += [
            {
                "boat_id": boat_id,
                "slot_id": ("yard 1", "slip 2")[k % 2],
                "starts_on": date(2026, 11, 2) + timedelta(weeks=k // 2),
                "access": "mast_out",
                "fitting_id": life["fitting_id"],
                "action": "test",
                "hours": 0.5,
                "cost": 30.0,
                "loss_avoided": 12.5,
                "boat_name": NAMES[k],
                "fitting_type": life["fitting_type"],
                "method": "penetrant",
            }
            for life in picked[boat_id]
        ]
    return jobs


def _coverage(fittings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        {
            "boat_id": f["life"]["boat_id"],
            "fitting_type": f["life"]["fitting_type"],
            "fittings": 1,
            "looked": int(f["looked"]),
            "last_valid_look": f["life"]["last_valid_look"],
            "best_method": f["life"]["last_method"],
        }
        for f in fittings
    ]
