"""The timing run of pages and papers on a fleet of a few boats: all its boats are there, and growth is a slope."""

from __future__ import annotations

from math import isnan

import duckdb
from pytest import approx

from bobstay.bench.measuring import growth
from bobstay.bench.papers import Written, fleet_files, table


def test_the_fleet_has_the_boats_asked_for_and_looks_of_each_copy(tmp_path):
    """Counted by hand: 60 boats are all those of the demo that are still there, and the first of their copies."""
    files = {path.stem: path for path in fleet_files(tmp_path, 60)}
    with duckdb.connect() as con:
        boats = con.execute(f"SELECT count(DISTINCT boat_id) FROM '{files['boats']}'").fetchall()[0][0]
        copied = f"SELECT count(*) FROM '{files['inspections_charter']}' WHERE boat_id LIKE '%-1'"
        ids = f"SELECT count(inspection_id) - count(DISTINCT inspection_id) FROM '{files['inspections_charter']}'"
        assert boats == 60
        assert con.execute(copied).fetchall()[0][0] > 10
        assert con.execute(ids).fetchall()[0][0] <= 3  # as many as the demo itself repeats


def test_growth_is_the_slope_of_logarithms():
    """Closed form: seconds in step with the boats have slope 1, with their square 2."""
    assert growth([10, 20, 40], [1.0, 2.0, 4.0]) == approx(1.0)
    assert growth([10, 20, 40], [1.0, 4.0, 16.0]) == approx(2.0)
    assert isnan(growth([10], [1.0]))


def test_the_table_says_what_was_measured():
    made = table([Written(10, 400, 1.0, 2.0, 3.0, 4.0, 5000), Written(20, 800, 2.0, 4.0, 6.0, 8.0, 9000)])
    assert "| 20 | 800 | 2.0 (4.0) | 6.0 (8.0) | 9 |" in made
    assert "pages 1.00, papers 1.00" in made
