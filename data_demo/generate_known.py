"""What only the maker of the demo fleet knows: truth.json (classes, rates, planted faults) and truth.csv (lives)."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import asdict
from statistics import NormalDist, fmean
from typing import TYPE_CHECKING, Any

from .generate_truth import (
    AS_OF,
    BAD_BATCH_FACTOR,
    BAD_BATCHES,
    BELOW_MINIMA_FACTOR,
    BOAT_EFFECT_SD,
    CLASSES,
    CLEARED_BEFORE_JOINING,
    CRACK_TO_FAILURE_YEARS,
    DAYS_A_YEAR,
    EFFECTS,
    FOLLOWED_UP,
    GONE_BAD,
    RENEWED_BEFORE_JOINING,
    SEED,
    TESTS,
    effect_of,
)
from .generate_wrong import WRONG

if TYPE_CHECKING:
    from .generate_boats import Boat
    from .generate_history import History, Life
    from .generate_looks import Row

_KNOWN = (
    "life_id",
    "boat_id",
    "fitting_id",
    "part_number",
    "fitting_type",
    "material",
    "installed_on",
    "ended_on",
    "end_reason",
    "onset_years",
    "cracked_at_end",
    "from_bad_batch",
    "joined_late",
    "gone_bad",
)
# no name of an input table's column, so that the file is not taken for one
KNOWN_COLUMNS = tuple(f"true_{name}" for name in _KNOWN)


def known_rows(pasts: list[History]) -> list[Row]:
    """Return the truth of each life."""
    lives = [life for past in pasts for life in past.lives]
    rows = [_known_row(one) for one in sorted(lives, key=_order)]
    return [{f"true_{name}": said for name, said in row.items()} for row in rows]


def _order(life: Life) -> tuple[str, str, int]:
    return life.part.boat.boat_id, life.part.place.fitting_id, life.part.number


def _known_row(life: Life) -> Row:
    part = life.part
    return {
        "life_id": f"{part.boat.boat_id}/{part.place.fitting_id}/{part.number}",
        "boat_id": part.boat.boat_id,
        "fitting_id": part.place.fitting_id,
        "part_number": str(part.number),
        "fitting_type": part.place.fitting_type,
        "material": part.material,
        "installed_on": part.installed.isoformat(),
        "ended_on": life.ended.isoformat(),
        "end_reason": life.end_reason,
        "onset_years": f"{part.onset_years:.2f}",
        "cracked_at_end": "yes" if part.onset <= life.ended else "no",
        "from_bad_batch": "yes" if part.is_bad else "no",
        "joined_late": "yes" if _is_late(life) else "no",
        "gone_bad": "yes" if part.is_gone_bad else "no",
    }


def _is_late(life: Life) -> bool:
    return life.part.installed < life.part.boat.joined


def known(fleet: list[Boat], pasts: list[History]) -> dict[str, Any]:
    """Return everything else that is known, ready for JSON."""
    lives = [life for past in pasts for life in past.lives]
    return {
        "note": "Invented. The truth behind an invented fleet: no boat, owner, port, maker or price in it is real.",
        "seed": SEED,
        "as_of": AS_OF.isoformat(),
        "classes": _classes(lives),
        "effects_on_ln_scale": EFFECTS,
        "boat_effect_sd": BOAT_EFFECT_SD,
        "boat_effects": {b.boat_id: round(b.effect, 4) for b in fleet},
        "tests": {method: asdict(test) for method, test in TESTS.items()},
        "penetrant_below_minima_finds_times": BELOW_MINIMA_FACTOR,
        "followed_up_share": FOLLOWED_UP,
        "cleared_before_joining": CLEARED_BEFORE_JOINING,
        "renewed_before_joining": RENEWED_BEFORE_JOINING,
        "crack_to_failure_mean_years": CRACK_TO_FAILURE_YEARS,
        "bad_batches": [_bad_batch(lives, n) for n in range(len(BAD_BATCHES))],
        "class_gone_bad": asdict(GONE_BAD) | {"since": GONE_BAD.since.isoformat(), "parts": _gone_bad_count(lives)},
        "wrong_on_purpose": [asdict(w) for w in WRONG],
        "counts": _counts(fleet, pasts, lives),
    }


def _bad_batch(lives: list[Life], number: int) -> dict[str, Any]:
    batch = BAD_BATCHES[number]
    parts = [one.part for one in lives if one.part.is_bad and one.part.place.fitting_type == batch.fitting_type]
    return asdict(batch) | {"batch": batch.batch, "onset_earlier_times": BAD_BATCH_FACTOR, "parts": len(parts)}


def _gone_bad_count(lives: list[Life]) -> int:
    return sum(one.part.is_gone_bad and one.ended > GONE_BAD.since for one in lives)


def _counts(fleet: list[Boat], pasts: list[History], lives: list[Life]) -> dict[str, int]:
    looks = [one for past in pasts for one in past.looks]
    return {
        "boats": len(fleet),
        "boats_in_service": sum(b.ends == AS_OF for b in fleet),
        "lives": len(lives),
        "fittings_in_service": sum(one.end_reason == "in_service" for one in lives),
        "cracked_in_service": sum(one.end_reason == "in_service" and one.part.onset <= AS_OF for one in lives),
        "lives_joined_late": sum(map(_is_late, lives)),
        "looks_at_a_fitting": len(looks),
        "whole_boat_rows": sum(len(past.whole_boat_rows) for past in pasts),
        "findings": sum(one.shows for one in looks),
        "findings_true": sum(one.shows and one.cracked for one in looks),
        "cracks_missed": sum(one.cracked and not one.shows for one in looks),
        "failed": sum(one.row["result"] == "failed" for one in looks),
        "events": sum(len(past.events) for past in pasts),
    }


def _classes(lives: list[Life]) -> list[dict[str, Any]]:
    """Return the truth of each class: at the fleet's mean covariates, and averaged over the class's own fittings."""
    mean_effect = fmean(map(_covariates, lives))
    groups: dict[tuple[str, str], list[Life]] = {}
    for life in lives:
        groups.setdefault((life.part.place.fitting_type, life.part.material), []).append(life)
    return [_class(key, groups.get(key, []), mean_effect) for key in sorted(CLASSES)]


def _covariates(life: Life) -> float:
    boat = life.part.boat
    return effect_of(boat.water, boat.climate, boat.service, life.part.place.through_deck)


def _class(key: tuple[str, str], lives: list[Life], mean_effect: float) -> dict[str, Any]:
    truth = CLASSES[key]
    sound = [one for one in lives if not one.part.is_bad]
    oldest = max(((one.ended - one.part.installed).days / DAYS_A_YEAR for one in lives), default=0.0)
    return {
        "fitting_type": key[0],
        "material": key[1],
        "shape": truth.shape,
        "scale_years": round(truth.scale_years * math.exp(mean_effect), 3),
        "b10_years": round(_b10(truth.shape, truth.scale_years, lives), 3),
        "b10_years_bad_batches_apart": round(_b10(truth.shape, truth.scale_years, sound), 3),
        "b10_years_reference_boat": truth.b10_years,
        "lives": len(lives),
        "cracked": sum(one.part.onset <= one.ended for one in lives),
        "oldest_years": round(oldest, 2),
    }


def _b10(shape: float, scale: float, lives: list[Life]) -> float:
    """Age by which one in ten has cracked, covariates, batches and boat effect averaged; by bisection."""
    nodes = [NormalDist(0, BOAT_EFFECT_SD).inv_cdf((n + 0.5) / 21) for n in range(21)]
    patterns = Counter(round(_covariates(one) - one.part.is_bad * math.log(BAD_BATCH_FACTOR), 6) for one in lives)
    mixture = [(scale * math.exp(x + u), n) for x, n in sorted(patterns.items()) for u in nodes]
    weight = sum(n for _, n in mixture)
    low, high = 0.0, 500.0
    for _ in range(60):
        age = (low + high) / 2
        cracked = sum(n * -math.expm1(-((age / s) ** shape)) for s, n in mixture) / weight
        low, high = (age, high) if cracked < 0.1 else (low, age)
    return low
