"""Every number of priority and guidance of the demo is traced by `explain` to rows, settings and a reckoning."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from bobstay import run, show
from bobstay.explain.classes import traced_class
from bobstay.explain.numbers import Number, traced
from bobstay.tables import GUIDANCE, PRIORITY, OutputTable

EACH = 2  # fittings of each list and action that are gone through; every class is


def numeric(table: OutputTable) -> set[str]:
    return {c.name for c in table.columns if c.dtype in {"integer", "number"}}


def agrees(numbers: tuple[Number, ...], row: pd.Series, table: OutputTable) -> None:
    """Every numeric column is there once, with its value, how it was made, and what it rests on."""
    assert sorted(n.column for n in numbers) == sorted(numeric(table))
    for n in numbers:
        assert n.how.strip()
        assert all(rest.strip() for rest in n.rests_on) and n.rests_on
        if pd.isna(row[n.column]):
            assert n.value is None
        else:
            assert n.value == pytest.approx(float(row[n.column]), rel=1e-12)


@pytest.fixture(scope="module")
def job(demo: Path):
    with run.job(
        demo / "bobstay.duckdb", out=demo, settings=None, say=show.progress(quiet=True), to_read=True
    ) as opened:
        yield opened


def sample(job: run.Job) -> pd.DataFrame:
    table = job.table("priority")
    some = table.groupby(["list", "action"]).head(EACH)
    return pd.concat([some, table[table["draw"]].head(1)]).drop_duplicates("life_id")


def test_every_number_of_priority_is_traced_and_reckoned_again(job: run.Job) -> None:
    """Loss, cost and margin are worked out again from the parts that the trace names."""
    lives, looks = job.table("lives").set_index("life_id", drop=False), job.table("life_looks")
    rows = sample(job)
    assert len(rows) >= 8
    failure = job.settings.costs.failure
    for _, row in rows.iterrows():
        numbers, ways = traced(job, row, lives.loc[row["life_id"]], looks[looks["life_id"] == row["life_id"]])
        agrees(numbers, row, PRIORITY)
        if pd.notna(row["chance"]):
            assert row["expected_loss"] == pytest.approx(row["chance"] * ways.units, rel=1e-9)
        if row["action"] == "test":
            assert row["loss_avoided"] == pytest.approx(ways.found * ways.chance_now * failure * ways.units, rel=1e-9)
        if row["action"] == "replace":
            ends = [row["chance_lower"], row["chance_upper"]]
            bounds = [row["loss_avoided_lower"], row["loss_avoided_upper"]]
            assert bounds == pytest.approx([end * failure * ways.units for end in ends], rel=1e-9)
        if pd.notna(row["margin"]):
            costs = sorted(ways.costs)
            assert row["expected_cost"] == pytest.approx(costs[0], rel=1e-9)
            assert row["margin"] == pytest.approx(costs[1] - costs[0], rel=1e-6, abs=1e-9)
        at = job.table("priority").query("list == @row.list")
        assert (at["rank"] < row["rank"]).sum() == row["rank"] - 1


def test_the_rows_behind_a_chance_are_the_looks_at_the_part(job: run.Job) -> None:
    row = job.table("priority").query("list == 'evidence' and action == 'test'").iloc[0]
    looks = job.table("life_looks").query("life_id == @row.life_id")
    life = job.table("lives").query("life_id == @row.life_id").iloc[0]
    numbers, _ = traced(job, row, life, looks)
    chance = next(n for n in numbers if n.column == "chance")
    assert {f"{look.file}:{look.line}" for look in looks.itertuples()} <= set(chance.rests_on)
    age = next(n for n in numbers if n.column == "age_years")
    assert any(rest.startswith("fittings.csv:") for rest in age.rests_on)


def test_every_number_of_guidance_is_traced(job: run.Job) -> None:
    table = job.table("guidance")
    assert len(table) >= 20
    for _, row in table.iterrows():
        agrees(traced_class(job, row), row, GUIDANCE)


def test_a_class_is_explained_in_words_and_for_machines(demo: Path, bobstay) -> None:
    """The stem fittings of bronze have no finding: 29 less those looked at are still needed."""
    asked = ("explain", "--class", "stem fitting", "silicon bronze", "--store", demo / "bobstay.duckdb")
    told, content = bobstay(*asked), json.loads(bobstay(*asked, "--json").out)
    assert told.code == 0
    numbers = {n["column"]: n for n in content["numbers"]}
    assert set(numbers) == numeric(GUIDANCE)
    assert all(f"{column} = " in told.out for column in numbers)
    assert numbers["tests_needed_90"]["value"] == 29 - numbers["looked_count"]["value"]
    wrong = bobstay("explain", "--class", "stem fiting", "bronze", "--store", demo / "bobstay.duckdb")
    assert wrong.code == 2
    assert "stem fitting silicon bronze" in wrong.err


def test_a_fitting_is_explained_with_factors_changes_and_assumptions(demo: Path, bobstay) -> None:
    """A clear test lowers the chance and a season's wait raises it; each column of priority is in the text."""
    table = pd.read_csv(demo / "tables" / "priority.csv")
    row = table[(table["action"] == "test") & (table["list"] == "evidence")].iloc[0]
    asked = ("explain", row["boat_id"], row["fitting_id"], "--store", demo / "bobstay.duckdb", "--json")
    content = json.loads(bobstay(*asked).out)
    assert {n["column"] for n in content["numbers"]} == numeric(PRIORITY)
    chances = content["chances_if"]
    assert chances["itself"] == pytest.approx(row["chance"], abs=2e-3)
    assert chances["a clear penetrant test"] < chances["itself"] < chances["a season's wait"]
    assert chances["found x 0.7"] > chances["found x 1.3"]
    assert len(content["factors"]) >= 5 and len(content["assumptions"]) >= 3
