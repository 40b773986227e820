"""Write the invented demo fleet: `python -m bobstay.data_demo.generate --out DIR`."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from .generate_boats import boats
from .generate_files import columns_of, write_csv, write_parquet, write_xlsx
from .generate_history import history
from .generate_known import KNOWN_COLUMNS, known, known_rows
from .generate_rows import (
    OWNER_FILES,
    availability_rows,
    boat_row,
    fitting_rows,
    inspection_rows,
    price_rows,
    slot_rows,
)
from .generate_wrong import spoil

if TYPE_CHECKING:
    from .generate_boats import Boat
    from .generate_history import History
    from .generate_looks import Row

_WRITERS = {"inspections_school": ("xlsx", write_xlsx), "inspections_club": ("parquet", write_parquet)}


def tables_of(fleet: list[Boat], pasts: list[History]) -> dict[str, list[Row]]:
    """Return the rows of every input file, faults on purpose included, by name of the file without its ending."""
    tables = {
        "boats": [boat_row(b) for b in fleet],
        "fittings": [row for past in pasts for row in fitting_rows(past)],
        **{name: inspection_rows(pasts, owner) for owner, name in OWNER_FILES.items()},
        "events": sorted((e for p in pasts for e in p.events), key=lambda e: (e["happened_on"], e["boat_id"])),
        "slots": slot_rows(),
        "availability": availability_rows(fleet),
        "prices": price_rows(),
    }
    return spoil(tables)


def write_all(folder: Path) -> None:
    """Write every generated file to `folder`: inputs, truth.json and truth.csv."""
    fleet = boats()
    pasts = [history(b) for b in fleet]
    for name, rows in tables_of(fleet, pasts).items():
        ending, write = _WRITERS.get(name, ("csv", write_csv))
        write(folder / f"{name}.{ending}", columns_of(name), rows)
    write_csv(folder / "truth.csv", KNOWN_COLUMNS, known_rows(pasts))
    text = json.dumps(known(fleet, pasts), indent=1, ensure_ascii=False)
    (folder / "truth.json").write_bytes((text + "\n").encode())


def main() -> None:
    """Read the command line and write the files."""
    parser = argparse.ArgumentParser(description="Write the invented demo fleet of Bobstay.")
    parser.add_argument("--out", type=Path, default=Path("demo_fleet"), help="folder to write to")
    folder: Path = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    write_all(folder)


if __name__ == "__main__":
    main()
