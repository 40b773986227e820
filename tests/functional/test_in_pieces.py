"""A fleet in pieces of a few boats comes out as the whole fleet at once: the same numbers, places, lots and words."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from bobstay import run, settings, store
from bobstay.bench.measuring import with_plain_estimate
from bobstay.estimate import estimate
from bobstay.rank import rank
from bobstay.run import ranking, stages
from random_fleet import files_of


def nothing(_: str) -> None:
    """Say nothing."""


def all_at_once(job: run.Job) -> pd.DataFrame:
    """Return the list as `rank` makes it of all tables at once."""
    tables = {name: job.table(name) for name in ("detection", "guidance")}
    return rank(
        job.table("lives"),
        job.table("chances"),
        boats=job.given("boats"),
        looks=job.table("life_looks"),
        settings=job.settings,
        as_of=job.as_of,
        notices=job.table("notice_status"),
        **tables,
    )


def same(stored: pd.DataFrame, made: pd.DataFrame) -> None:
    """Compare a table as the store gives it back with the frame that should have been put there."""
    assert list(stored) == list(made)
    for name in stored:
        left, right = stored[name], made[name]
        assert left.isna().tolist() == right.isna().tolist(), name
        assert left.dropna().tolist() == right.dropna().tolist(), name


@pytest.mark.parametrize("seed", range(11, 17))
def test_a_list_made_in_pieces_is_the_list_made_at_once(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    files = files_of(seed, tmp_path)
    how = with_plain_estimate(settings.load(tmp_path / "bobstay.toml"))
    run.take_in(files, store_path=tmp_path / "b.duckdb", settings=how, say=nothing)
    with run.job(tmp_path / "b.duckdb", out=tmp_path / "out", settings=how, say=nothing) as job, store.at_once(job.con):
        run.estimate_stage(job, is_checked=False)
        run.rank_now(job)
        whole = {name: job.table(name) for name in ("chances", "priority")}
        same(whole["priority"], all_at_once(job))
        monkeypatch.setattr(ranking, "LIVES_AT_ONCE", 1)
        monkeypatch.setattr(stages, "LIVES_AT_ONCE", 1)
        assert len(store.boats_at_once(job.con, 1)) == job.table("lives")["boat_id"].nunique()
        run.estimate_stage(job, is_checked=False)
        run.rank_now(job)
        for name, table in whole.items():
            pd.testing.assert_frame_equal(job.table(name), table, check_exact=True)
        made = estimate(job.table("lives"), job.table("life_looks"), job.given("boats"), as_of=job.as_of, settings=how)
        same(whole["chances"], made.chances)


def test_pieces_hold_whole_boats_and_every_boat_once(demo: Path) -> None:
    with run.job(demo / "bobstay.duckdb", out=demo, settings=None, say=nothing, to_read=True) as job:
        lives = job.table("lives")
        ends = store.boats_at_once(job.con, 60)
        pieces = [store.read(job.con, "lives", boats=boats) for boats in ends]
        assert len(pieces) > 3
        pd.testing.assert_frame_equal(pd.concat(pieces, ignore_index=True), lives, check_exact=True)
        largest = lives.groupby("boat_id").size().max()
        assert max(len(piece) for piece in pieces) < 60 + largest
