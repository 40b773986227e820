"""A small invented fleet in files: boats of chainplates looked at every four years, a third cracked and renewed."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

BOATS, PARTS = 12, 3


def write_rows(path: Path, rows: Sequence[Mapping[str, str]]) -> Path:
    """Write rows as CSV under the columns of the first; return the path."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def fleet(folder: Path) -> list[Path]:
    """Twelve boats of three chainplates; a third cracked and renewed; the last boat was never looked at."""
    boats = [
        {"boat_id": f"B{b:02d}", "boat_name": f"Boat {b}", "service": "charter", "joined": "2006-01-01"}
        for b in range(BOATS)
    ]
    parts = [(b, p) for b in range(BOATS) for p in range(PARTS)]
    looks = [look for b, p in parts if b < BOATS - 1 for look in _looks(b, p)]
    return [
        write_rows(folder / "boats.csv", boats),
        write_rows(folder / "fittings.csv", [_fitting(b, p) for b, p in parts]),
        write_rows(folder / "inspections.csv", looks),
    ]


def _put_in(boat: int, part: int) -> date:
    return date(2006, 1, 1) + timedelta(days=97 * boat + 31 * part)


def _named(boat: int, part: int) -> dict[str, str]:
    return {"boat_id": f"B{boat:02d}", "fitting_id": f"CP{part + 1}"}


def _fitting(boat: int, part: int) -> dict[str, str]:
    kind = {"fitting_type": "chainplate", "material": "steel", "access": "aloft"}
    return _named(boat, part) | kind | {"installed": _put_in(boat, part).isoformat()}


def _looks(boat: int, part: int) -> list[dict[str, str]]:
    made = []
    for years in (4, 8, 12):
        cracked = (boat + part) % 3 == 0 and years == (4, 8, 12)[boat % 3]
        told = {"inspected_on": (_put_in(boat, part) + timedelta(days=round(365.25 * years))).isoformat()}
        told |= {"method": "eddy_current", "result": "relevant" if cracked else "no_indication"}
        made.append(_named(boat, part) | told | {"action": "replaced" if cracked else "none"})
    return made
