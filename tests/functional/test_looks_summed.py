"""What stages ask of many looks comes summed up or picked by SQL: it says what all the looks together say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from bobstay import run, settings, store
from bobstay.bench.measuring import with_plain_estimate
from bobstay.estimate import estimate
from bobstay.rank import rank
from bobstay.run.ranking import pick_looks
from random_fleet import files_of


def nothing(_: str) -> None:
    """Say nothing."""


def ranked(job: run.Job, looks: pd.DataFrame) -> pd.DataFrame:
    tables = {name: job.table(name) for name in ("detection", "guidance")}
    return rank(
        job.table("lives"),
        job.table("chances"),
        boats=job.given("boats"),
        looks=looks,
        settings=job.settings,
        as_of=job.as_of,
        **tables,
    )


def both_rank_alike(job: run.Job) -> int:
    """Rank by all looks and by the few that are picked, compare, and return how many fewer those are."""
    pick_looks(job.con)
    every, few = job.table("life_looks"), job.con.sql("FROM looks_to_rank").df()
    pd.testing.assert_frame_equal(ranked(job, every), ranked(job, few), check_exact=True)
    return len(every) - len(few)


def test_the_demo_is_ranked_by_few_looks_as_by_all(demo: Path) -> None:
    store_path = demo / "bobstay.duckdb"
    with run.job(store_path, out=demo, settings=None, say=nothing, to_read=True) as job:
        assert both_rank_alike(job) > 0


@pytest.mark.parametrize("seed", range(1, 7))
def test_random_fleets_are_ranked_by_few_looks_as_by_all(tmp_path: Path, seed: int) -> None:
    """Fleets with voided looks, parts nobody looked at, and looks of no worth; plain estimates, which are quick."""
    files = files_of(seed, tmp_path)
    how = with_plain_estimate(settings.load(tmp_path / "bobstay.toml"))
    run.take_in(files, store_path=tmp_path / "b.duckdb", settings=how, say=nothing)
    with run.job(tmp_path / "b.duckdb", out=tmp_path / "out", settings=how, say=nothing) as job, store.at_once(job.con):
        run.estimate_stage(job, is_checked=False)
        run.rank_now(job)
        both_rank_alike(job)


def test_looks_that_are_counted_by_the_engine_make_the_same_rates(demo: Path) -> None:
    with run.job(demo / "bobstay.duckdb", out=demo, settings=None, say=nothing, to_read=True) as job:
        how = with_plain_estimate(job.settings)
        how = replace(how, estimate=replace(how.estimate, draws=50))
        tables = (job.table("life_looks"), job.con.sql(store.query("look_counts")).df())
        made = [
            estimate(job.table("lives"), looks, job.given("boats"), as_of=job.as_of, settings=how) for looks in tables
        ]
        assert made[0].detection["look_count"].sum() > len(tables[1])
        pd.testing.assert_frame_equal(made[0].detection, made[1].detection, check_exact=True)
