"""Who is who: ids that look alike are told, never joined; a part moved with an indication is told. By hand."""

from __future__ import annotations

import pandas as pd
import pytest

from bobstay.alerts.identity import looks_like, moved_with_indication, near_duplicate_ids


@pytest.mark.parametrize(
    ("one", "other"),
    [("C10", "C1O"), ("B1", "BI"), ("B1", "b1"), ("B 07", "b-7"), ("CP1", "CPl"), ("SAIL 3", "sail3"), ("007", "7")],
)
def test_ids_that_look_alike(one, other):
    assert looks_like(one) == looks_like(other)


@pytest.mark.parametrize(
    ("one", "other"), [("1-11", "11-1"), ("B1", "B2"), ("B10", "B1"), ("CP1", "CPL"), ("B100", "B1")]
)
def test_ids_that_do_not(one, other):
    assert looks_like(one) != looks_like(other)


def _lives(*rows: tuple[str, str, int, str | None, bool]) -> pd.DataFrame:
    heads = ["boat_id", "fitting_id", "indication_count", "moved_from", "is_in_service"]
    frame = pd.DataFrame(rows, columns=heads)
    return frame.assign(
        life_id=frame["boat_id"] + "/" + frame["fitting_id"] + "/1", fitting_type="toggle", material="316"
    )


def test_near_duplicates_are_told_by_boat_and_place():
    lives = _lives(("B10", "P1", 0, None, True), ("B10", "PI", 0, None, True), ("B2", "P1", 0, None, True))
    boats = pd.DataFrame({"boat_id": ["B10", "B1O", "b 10", "B2"]})
    assert [(r["subject"], r["seen"]) for r in near_duplicate_ids(lives, boats)] == [
        ("boats: B10, B1O, b 10", 3.0),
        ("fittings of B10: P1, PI", 2.0),
    ]


def test_a_part_moved_with_an_indication_is_told():
    lives = _lives(
        ("A", "P", 2, None, False),
        ("B", "Q", 0, "A/P/1", True),
        ("A", "R", 0, None, False),
        ("B", "S", 0, "A/R/1", True),
    )
    (row,) = moved_with_indication(lives)
    assert (row["kind"], row["subject"], row["seen"]) == ("moved_with_indication", "B / Q", 2.0)
