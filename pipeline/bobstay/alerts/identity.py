"""Alerts about who is who: ids that may be one boat's or one place's, and parts that moved with an indication."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable

    Rows = list[dict[str, Any]]

_LOOK_ALIKE = str.maketrans({"O": "0", "I": "1"})


def near_duplicate_ids(lives: pd.DataFrame, boats: pd.DataFrame) -> Rows:
    """Return an alert for each group of boat ids, and of fitting ids of one boat, that differ only in how they look."""
    rows = [_alert("boats", group) for group in _alike(boats["boat_id"])]
    for boat_id, mine in lives.groupby("boat_id", sort=True):
        rows += [_alert(f"fittings of {boat_id}", group) for group in _alike(mine["fitting_id"])]
    return rows


def _alike(ids: Iterable[Any]) -> list[list[str]]:
    groups: dict[str, list[str]] = {}
    for word in sorted(set(map(str, ids))):
        groups.setdefault(looks_like(word), []).append(word)
    return [group for _, group in sorted(groups.items()) if len(group) > 1]


def looks_like(word: str) -> str:
    """Return what ids share that differ only in O and 0, I and 1, case, spaces, marks and leading zeros.

    A mark between two digits is kept, so that 1-11 is not 11-1; a small l among capitals may be a 1, a capital L not.
    """
    plain = word.replace("l", "1") if {c for c in word if c.islower()} == {"l"} else word
    marked = re.sub(r"(?<![0-9])[\W_]+|[\W_]+(?![0-9])", "", plain.upper().translate(_LOOK_ALIKE))
    parted = re.sub(r"[\W_]+", "-", marked)
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", parted)


def _alert(whose: str, group: list[str]) -> dict[str, Any]:
    note = (
        f"{' and '.join(group)} may be one and the same: they differ only in letters that look like digits, case, "
        "spaces, marks or leading zeros. They are counted apart until the records say otherwise (correct the id"
        f"{', or give the other name in aliases' if whose == 'boats' else ''})."
    )
    return {
        "kind": "near_duplicate_id",
        "subject": f"{whose}: {', '.join(group)}",
        "seen": float(len(group)),
        "note": note,
    }


def moved_with_indication(lives: pd.DataFrame) -> Rows:
    """Return an alert for each part in service that showed an indication in the place it was moved from."""
    moved = lives[lives["is_in_service"].astype(bool) & lives["moved_from"].notna()]
    before = lives[lives["indication_count"] > 0].set_index("life_id")["indication_count"]
    both = moved.join(before.rename("found_before"), on="moved_from", how="inner", validate="many_to_one")
    rows: list[Any] = list(both.sort_values(["boat_id", "fitting_id"]).itertuples(index=False))
    return [
        {
            "kind": "moved_with_indication",
            "subject": f"{row.boat_id} / {row.fitting_id}",
            "seen": float(row.found_before),
            "note": f"{row.fitting_type} of {row.material}: it showed an indication where it was before "
            f"({row.moved_from}). Looks are not carried along, so its chance does not know of it: test it first.",
        }
        for row in rows
    ]
