"""Rows that stand twice are found whether their marks are sorted at once or in turns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from bobstay.ingest import repeats
from ingest_files import LOOKS, fleet, take

if TYPE_CHECKING:
    from pathlib import Path

AGAIN = """L1,B1,CP1,2012-02-01,penetrant,no_indication,18
L2,B1,CP2,2013-02-01,visual,relevant,
,B1,CP2,2014-02-01,visual,relevant,
,B1,CP2,2014-02-01,visual,relevant,
L4,B1,CP9,2014-02-01,visual,relevant,
L4,B1,CP2,2014-03-01,visual,relevant,
"""


@pytest.mark.parametrize("at_once", [1, 2, 20_000_000])
def test_repeats_do_not_depend_on_the_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at_once: int) -> None:
    """By hand: the later of two rows is set aside; L4's first row is at an unknown fitting, so its second counts."""
    monkeypatch.setattr(repeats, "_SORTED_AT_ONCE", at_once)
    taken = take(tmp_path, fleet(tmp_path, looks_csv=LOOKS + AGAIN))
    assert taken.reasons() == [
        ("looks.csv", 5, None, "the same row stands earlier"),
        ("looks.csv", 6, "inspection_id", "the same inspection_id stands earlier, with other cells"),
        ("looks.csv", 8, None, "the same row stands earlier"),
        ("looks.csv", 9, "fitting_id", "fitting_id is not in fittings for this boat"),
    ]
    assert [row["line"] for row in taken.tables["inspections"]] == [2, 3, 4, 7, 10]
