"""Random fleets with random mess through the whole job: what must hold of any fleet whatever.

A few seeds here; BOBSTAY_FUZZ_FLEETS=500 in the environment does that many, from BOBSTAY_FUZZ_FIRST on.
"""

from __future__ import annotations

import os
import re
from html.parser import HTMLParser
from pathlib import Path

import jinja2
import numpy as np
import pandas as pd
import pytest

from bobstay import run
from bobstay import settings as settings_file
from bobstay.errors import BobstayError
from random_fleet import files_of

FIRST = int(os.environ.get("BOBSTAY_FUZZ_FIRST", "1"))
FLEETS = int(os.environ.get("BOBSTAY_FUZZ_FLEETS", "4"))
ODD = re.compile(r"\b(nan|NaN|NaT|inf|undefined)\b|\bNone\b(?! of)")


@pytest.fixture(scope="module", autouse=True)
def _templates_compiled_once():
    """Compile each template once for all fleets, which are all told in one language: a tenth of the time of a fleet."""
    compiled, compile_ = {}, jinja2.Environment.compile

    def once(env, source, *names):
        if source not in compiled:
            compiled[source] = compile_(env, source, *names)
        return compiled[source]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(jinja2.Environment, "compile", once)
        yield


@pytest.mark.parametrize("seed", range(FIRST, FIRST + FLEETS))
def test_a_random_fleet_breaks_nothing(tmp_path, monkeypatch, seed):
    files = files_of(seed, tmp_path)
    monkeypatch.chdir(tmp_path)
    out = tmp_path / "out"
    how = settings_file.load(tmp_path / "bobstay.toml")
    try:
        code = run.whole_job(files, out=out, store_path=out / "b.duckdb", settings=how, say=lambda _: None)
    except BobstayError as fault:
        assert len(fault.lines()) == 3
        assert all(len(line) > 8 for line in fault.lines())
        assert fault.exit_code in (2, 3)
        assert not (out / "b.duckdb").exists()
        return
    assert code in (0, 4)
    check_rows(out)
    check_lives(read(out, "lives"))
    check_estimates(out, code)
    check_priority(read(out, "priority"))
    check_plan(out)
    check_pages(out, tmp_path)


def read(out: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(out / "tables" / f"{name}.parquet")


def ordered(frame: pd.DataFrame, name: str, *, low: float = 0.0, high: float = np.inf) -> None:
    """A number and its ends stand in order within its range wherever all three are there."""
    ends = frame[[f"{name}_lower", name, f"{name}_upper"]].astype(float)
    assert (ends[f"{name}_lower"].fillna(low) <= ends[name].fillna(ends[f"{name}_lower"]).fillna(low) + 1e-9).all(), (
        name
    )
    assert (ends[name].fillna(low) <= ends[f"{name}_upper"].fillna(high) + 1e-9).all(), name
    told = ends.to_numpy()
    assert ((told[~np.isnan(told)] >= low) & (told[~np.isnan(told)] <= high)).all(), name


def check_rows(out: Path) -> None:
    files, aside = read(out, "files"), read(out, "set_aside")
    assert (files["rows_read"] == files["rows_used"] + files["rows_set_aside"]).all()
    assert files["rows_set_aside"].sum() == len(aside)
    assert aside["reason"].str.len().min() > 3 if len(aside) else True
    for path in (out / "tables").glob("*.parquet"):
        assert len(pd.read_csv(path.with_suffix(".csv"), low_memory=False)) == len(pd.read_parquet(path)), path.name


def check_lives(lives: pd.DataFrame) -> None:
    assert lives["life_id"].is_unique
    assert (lives["age_years"].dropna() >= 0).all()
    used = lives[lives["left_out"].isna()]
    assert (used["entry_years"] <= used["lower_years"] + 1e-9).all()
    assert (used["lower_years"] < used["upper_years"]).all()


def check_estimates(out: Path, code: int) -> None:
    classes, detection = read(out, "classes"), read(out, "detection")
    for name in ("shape", "scale_years", "b10_years"):
        ordered(classes, name)
        assert not np.isinf(classes[name].astype(float)).any()
    for name in ("found", "false_call"):
        ordered(detection, name, high=1.0)
    assert (code == 4) == (not classes["b10_years"].notna().any())
    assert classes["model"].str.len().gt(5).all()
    guidance = read(out, "guidance")
    for name in ("test_from_years", "retest_years", "replace_by_years"):
        ordered(guidance, name)


def check_priority(priority: pd.DataFrame) -> None:
    ordered(priority, "chance", high=1.0)
    assert priority["life_id"].is_unique
    for _, rows in priority.groupby("list"):
        assert sorted(rows["rank"]) == list(range(1, len(rows) + 1))
    assert (priority["expected_loss"].dropna() >= 0).all()
    assert priority["reason"].str.len().gt(5).all()
    assert set(priority["action"]) <= {"test", "replace", "leave", "act_now"}


def check_plan(out: Path) -> None:
    jobs, summary = read(out, "haul_plan"), read(out, "plan_summary").iloc[0]
    assert jobs["cost"].sum() <= float(summary["cost"]) + 0.01  # what access costs stands beside the jobs
    assert set(jobs["boat_id"]) <= set(read(out, "priority")["boat_id"])
    assert float(summary["bound"]) >= float(summary["loss_avoided"]) - 1e-6 or pd.isna(summary["bound"])


class Words(HTMLParser):
    """The words a reader sees."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []

    def handle_data(self, data: str) -> None:
        self.seen.append(data)


def check_pages(out: Path, folder: Path) -> None:
    boats = set(read(out, "priority")["boat_id"])
    pages = sorted(out.rglob("*.html"))
    assert len([p for p in pages if p.parent.name == "boats"]) >= len(boats)
    for page in pages:
        reader = Words()
        reader.feed(page.read_text(encoding="utf-8"))
        text = " ".join(reader.seen)
        assert "fit for sea" in text, page.name
        assert not ODD.search(text), (page.name, ODD.search(text))
    assert not [p for p in folder.rglob("*.html") if out not in p.parents], "a page outside the folder asked for"
