"""The timing run on a small fleet: what it times agrees, and its rows are the lives it was given."""

from __future__ import annotations

import numpy as np
import pytest

from bobstay.bench import habits
from bobstay.bench.estimate import aggregated, bench, by_lifelines, by_us
from bobstay.study.by_year import simulate
from bobstay.study.trial import plain_intervals


def test_rows_count_every_life_that_can_be_used() -> None:
    """Counts add up to the lives with an entry age; no row is exact by rounding (identity)."""
    fleet, truth = simulate(1, 20, places=30)
    rows = aggregated(fleet, len(truth.found))
    assert sum(count.sum() for *_, count in rows) == np.isfinite(plain_intervals(fleet, len(truth.found))[0]).sum()
    assert all((lower < upper).all() and (entry <= lower).all() for entry, lower, upper, _ in rows)


def test_both_reach_the_same_likelihood() -> None:
    """Ours and lifelines', class by class on the same rows: within .01, as far as its own search goes."""
    rows = aggregated(simulate(1, 100, places=40, classes=6)[0], 4)
    np.testing.assert_allclose(by_us(rows), by_lifelines(rows), atol=0.01)


@pytest.mark.filterwarnings("ignore")
def test_the_run_says_its_ratios() -> None:
    text = bench(60)
    assert "times as long" in text
    assert "settled: True" in text
    assert "peak memory" in text


def test_the_estimates_order_holds_more_cracks_than_the_habits() -> None:
    """Two fleets of each generator with known truth: more cracks in the first tenth than oldest first, every time; the
    table says what was asked. The full run is `python -m bobstay.bench.habits`."""
    found = habits.bench(4, 60, say=lambda _: None)
    trials = [one for several in found.values() for one in several]
    assert len(trials) == 4
    assert all(one.shares[habits.ESTIMATE] > one.shares[habits.OLDEST] for one in trials)
    assert all(0.5 < one.expected_over_cracked < 1.5 for one in trials)
    assert "oldest first" in habits.markdown(found, 60)
