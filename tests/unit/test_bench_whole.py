"""The timing run from files to the priority list, on a small fleet: every way ranks the same fittings."""

from __future__ import annotations

import math

import pytest

from bobstay.bench.whole import Done, lines, measured


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_every_way_ranks_every_fitting(kind: str) -> None:
    """Counted by hand: 3,000 looks are of 120 fittings, all in service; the plain load ranks none."""
    found = measured(3000, ("plain load", "plain", "pandas"), kind=kind)
    assert {way: done.ranked for way, done in found.items()} == {"plain load": 0, "plain": 120, "pandas": 120}
    assert list(found["plain"].seconds) == ["load", "lives", "estimate", "rank"]
    assert all(done.peak_mb > 30 for done in found.values())


def test_ratios_and_growth_are_worked_out_from_the_times() -> None:
    """By hand: 8 s beside 2 s is 4.0; ten times the rows in a hundred times the time is an exponent of 2."""
    few = {
        "plain load": Done({"load": 2.0}, {"load": 1.0}, {"load": 100.0}, 0),
        "plain": Done({"rank": 8.0}, {"rank": 3.0}, {"rank": 1.0}, 5),
    }
    many = {
        "plain load": Done({"load": 4.0}, {"load": 10.0}, {"load": 1.0}, 0),
        "plain": Done({"rank": 8.0}, {"rank": 300.0}, {"rank": 1.0}, 5),
    }
    text = lines({100: few, 1000: many})
    assert "| 100 | plain | 8.0 | 4.0 | rank 3.0 | rank 1 | 5 |" in text
    assert text[-2:] == [
        "growth from 100 to 1,000, plain load: load 1.00",
        f"growth from 100 to 1,000, plain: rank {math.log10(100):.2f}",
    ]
