"""The timing run of loads on a small fleet: what is loaded is what was written, and both loads are told."""

from __future__ import annotations

import duckdb

from bobstay.bench.ingest import measured, report
from bobstay.bench.looks import generate


def test_the_same_fleet_is_the_same_bytes(tmp_path) -> None:
    """Counted by hand: 2,000 looks make 80 fittings on 3 boats, 2 bad looks (one in a thousand)."""
    both = [tmp_path / "a", tmp_path / "b"]
    with duckdb.connect() as con:
        fleets = []
        for folder in both:
            folder.mkdir()
            fleets.append(generate(con, folder, rows=2000))
    first, second = ((f.boats.read_bytes(), f.fittings.read_bytes(), f.looks.read_bytes()) for f in fleets)
    assert first == second
    assert [content.count(b"\n") - 1 for content in first] == [3, 80, 2000]
    assert fleets[0].bad_count == 2


def test_the_run_loads_both_ways_and_says_the_ratio() -> None:
    """Rows used and set aside are those that were written (measured() raises otherwise)."""
    found = measured(3000, say=lambda _: None)
    assert (found.whole.rows_used, found.whole.rows_set_aside) == (2997, 3)
    assert found.plain.rows_used == 3000
    # a process that loads 3,000 rows does not hold what the one that asked for it holds (measured: under 300 MB)
    with_ballast = b"x" * 600_000_000  # written, so that it is really held
    again = measured(1000, say=lambda _: None)
    assert len(with_ballast) > 1e6 * max(again.plain.peak_mb, again.whole.peak_mb) > 30e6
    text = report(found)
    assert f"ratio {found.whole.seconds / found.plain.seconds:.2f}" in text
    assert "peak" in text
