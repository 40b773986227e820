"""The invented demo fleet: its files and the seeded generator that made them."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable
    from pathlib import Path

# In the order in which a person would hand them over; truth.json and truth.csv are no input.
INPUT_FILES = (
    "boats.csv",
    "fittings.csv",
    "inspections_charter.csv",
    "inspections_school.xlsx",
    "inspections_club.parquet",
    "events.csv",
    "slots.csv",
    "availability.csv",
    "prices.csv",
)
SETTINGS_FILE = "bobstay.toml"


def demo_paths() -> list[Traversable]:
    """Return the demo's input files, as they lie in the package."""
    folder = files(__name__)
    return [folder.joinpath(name) for name in INPUT_FILES]


def copy_to(folder: Path) -> list[Path]:
    """Copy the input files and bobstay.toml to `folder` (made where missing); return the paths of the input files."""
    folder.mkdir(parents=True, exist_ok=True)
    source = files(__name__)
    for name in (*INPUT_FILES, SETTINGS_FILE):
        (folder / name).write_bytes(source.joinpath(name).read_bytes())
    return [folder / name for name in INPUT_FILES]
