"""Every command on the demo, and every mistake of a user as three lines with the right exit code."""

from __future__ import annotations

import filecmp
import json
import os
import shutil
from pathlib import Path

import pandas as pd
import pyarrow.parquet
import pytest

from bobstay.tables import OUTPUTS


def _same(left: Path, right: Path) -> list[str]:
    """Return the files that differ between two output folders, the stores left out (they hold no promise of bytes)."""
    names = {p.relative_to(left) for p in left.rglob("*") if p.is_file()}
    assert names == {p.relative_to(right) for p in right.rglob("*") if p.is_file()}
    return [str(n) for n in sorted(names) if n.suffix != ".duckdb" and not filecmp.cmp(left / n, right / n, False)]


def test_demo_writes_what_the_contract_promises(demo):
    for name in ("index.html", "guidance.html", "manifest.json", "bobstay.duckdb"):
        assert (demo / name).is_file()
    for table in OUTPUTS:
        if table.exported:
            rows = pyarrow.parquet.read_table(demo / "tables" / f"{table.name}.parquet")
            assert rows.column_names == list(table.column_names)
            assert len(pd.read_csv(demo / "tables" / f"{table.name}.csv", low_memory=False)) == len(rows)
    boats = set(pd.read_csv(demo / "tables" / "priority.csv")["boat_id"])
    assert len(boats) >= 50
    assert len(list((demo / "boats").glob("*.html"))) >= len(boats)


def test_every_fitting_in_service_is_ranked_once(demo):
    lives = pd.read_csv(demo / "tables" / "lives.csv", low_memory=False)
    priority = pd.read_csv(demo / "tables" / "priority.csv", low_memory=False)
    assert sorted(priority["life_id"]) == sorted(lives.loc[lives["is_in_service"].astype(bool), "life_id"])
    for _, rows in priority.groupby("list"):
        assert sorted(rows["rank"]) == list(range(1, len(rows) + 1))
    known = priority.dropna(subset=["chance"])
    assert known["chance"].between(0, 1).all()
    assert (known["chance_lower"] <= known["chance"]).all()
    assert (known["chance"] <= known["chance_upper"]).all()


def test_rows_read_are_rows_used_and_rows_set_aside(demo):
    files = pd.read_csv(demo / "tables" / "files.csv")
    aside = pd.read_csv(demo / "tables" / "set_aside.csv")
    assert (files["rows_read"] == files["rows_used"] + files["rows_set_aside"]).all()
    assert files["rows_set_aside"].sum() == len(aside) > 10
    assert aside[["file", "line", "reason", "hint", "row_json"]].notna().all().all()


CLUB = Path(__file__).parents[1] / "data" / "guide" / "club"
CLUB_FILES = sorted(p for p in CLUB.glob("*.csv") if p.name not in {"correction.csv", "sheets_back.csv"})


def _club(bobstay, folder: Path) -> Path:
    """Do the whole job on the guide's club (twenty boats, a new name, a rule, a notice) once more."""
    done = bobstay(
        "run", *CLUB_FILES, "--out", folder, "--settings", CLUB / "bobstay.toml", "--quiet", cwd=folder.parent
    )
    assert done.code == 0, done.err
    return folder


@pytest.fixture(scope="module")
def club(bobstay, tmp_path_factory) -> Path:
    return _club(bobstay, tmp_path_factory.mktemp("club") / "out")


def test_running_twice_gives_the_same_bytes(club, bobstay, tmp_path):
    """The same of the demo is checked by `.ci/run`, with the built wheel."""
    assert _same(club, _club(bobstay, tmp_path / "again")) == []


def test_running_again_on_the_same_store_adds_nothing(club, bobstay, tmp_path):
    shutil.copytree(club, tmp_path / "out")
    assert _same(club, _club(bobstay, tmp_path / "out")) == []


def test_stages_one_by_one_give_what_run_gives(club, bobstay, tmp_path):
    settings = CLUB / "bobstay.toml"
    where = ("--store", tmp_path / "out" / "bobstay.duckdb", "--out", tmp_path / "out", "--settings", settings)
    assert bobstay("ingest", *CLUB_FILES, *where, cwd=tmp_path).code == 0
    for stage in ("estimate", "rank", "plan", "report"):
        done = bobstay(stage, *where, cwd=tmp_path)
        assert done.code == 0, done.err
        assert done.out.strip()
    first, second = (pd.read_csv(p / "tables" / "priority.csv", low_memory=False) for p in (club, tmp_path / "out"))
    pd.testing.assert_frame_equal(first, second)


def test_status_shows_every_reason_and_the_count(demo, bobstay):
    aside = pd.read_csv(demo / "tables" / "set_aside.csv")
    store = demo / "bobstay.duckdb"
    shown = bobstay("status", "--store", store).out
    assert f"ROWS SET ASIDE: {len(aside)}" in shown
    assert all(reason in shown for reason in aside["reason"].unique())
    content = json.loads(bobstay("status", "--store", store, "--json").out)
    assert sum(r["rows"] for r in content["set_aside"]) == len(aside)


def test_explain_a_boat_and_a_fitting(demo, bobstay):
    first = pd.read_csv(demo / "tables" / "priority.csv", low_memory=False).query("list == 'evidence'").iloc[0]
    store = demo / "bobstay.duckdb"
    boat = bobstay("explain", first["boat_id"], "--store", store)
    assert boat.code == 0
    assert first["fitting_id"] in boat.out
    assert "fit for sea" in boat.out
    by_name = bobstay("explain", first["boat_name"].upper(), "--store", store)
    assert by_name.out == boat.out
    told = bobstay("explain", first["boat_id"], first["fitting_id"], "--store", store)
    assert told.code == 0, told.err
    for heading in ("WHERE IT STANDS", "THE LOOKS BEHIND IT", "WHAT WOULD CHANGE IT", "ASSUMED"):
        assert heading in told.out
    content = json.loads(bobstay("explain", first["boat_id"], first["fitting_id"], "--store", store, "--json").out)
    assert content["priority"]["rank"] == 1
    assert content["looks"]


def test_a_clear_test_lowers_the_chance_and_waiting_raises_it(demo, bobstay):
    rows = pd.read_csv(demo / "tables" / "priority.csv", low_memory=False)
    row = rows[(rows["list"] == "evidence") & (rows["chance"] < 0.9)].iloc[0]
    told = bobstay("explain", row["boat_id"], row["fitting_id"], "--store", demo / "bobstay.duckdb", "--json")
    tested, waited = json.loads(told.out)["changes"][:2]
    before, after = (float(x.strip(" %<>")) for x in tested.rsplit(":", 1)[1].split("becomes"))
    now, later = (float(x.strip(" %<>")) for x in waited.rsplit(":", 1)[1].split("becomes"))
    assert after < before
    assert later > now


def scored_findings(rows):
    return rows.loc[(rows["ranking"] == "estimate") & rows["brier"].notna(), "found"].sum()


def test_backtest_scores_earlier_seasons(demo, bobstay, tmp_path):
    shutil.copy(demo / "bobstay.duckdb", tmp_path / "bobstay.duckdb")
    before = pd.read_csv(demo / "tables" / "lives.csv", low_memory=False)
    done = bobstay("backtest", "--store", tmp_path / "bobstay.duckdb", "--json")
    assert done.code == 0, done.err
    rows = pd.DataFrame(json.loads(done.out)["backtest"])
    assert set(rows["ranking"]) >= {"estimate", "plain_interval", "spreadsheet", "oldest_first", "longest_since_a_look"}
    verdict = pd.DataFrame(json.loads(done.out)["backtest_verdict"]).set_index("ranking")
    assert verdict.loc["estimate", "found"] == scored_findings(rows)
    assert verdict["verdict"].str.len().min() > 20
    scored = rows[(rows["ranking"] == "estimate") & rows["brier"].notna()]
    assert len(scored) >= 2
    assert scored["top_tenth_share"].between(0, 1).all()
    # looking back leaves the lives of today as they are
    after = pd.read_csv(tmp_path / "tables" / "lives.csv", low_memory=False)
    pd.testing.assert_frame_equal(before, after)


def test_settings_print_as_toml_that_reads_back(bobstay, tmp_path):
    printed = bobstay("settings", cwd=tmp_path)
    assert printed.code == 0
    (tmp_path / "mine.toml").write_text(printed.out)
    again = bobstay("settings", "--settings", "mine.toml", "--json", cwd=tmp_path)
    assert again.code == 0, again.err
    first = json.loads(bobstay("settings", "--json", cwd=tmp_path).out)
    second = json.loads(again.out)
    assert {k: v["value"] for k, v in first.items()} == {k: v["value"] for k, v in second.items()}
    assert second["estimate.seed"]["from"] == "mine.toml"


BOATS = "boat_id,built,joined\nA,2010,2010\nB,2010,2010\n"
FITTINGS = "boat_id,fitting_id,fitting_type,material,installed\nA,P1,chainplate,steel,2010-05-01\n"
LOOKS = "boat_id,fitting_id,inspected_on,method,result\nA,P1,2015-05-01,visual,no_indication\n"


def _three(tmp_path, boats=BOATS, fittings=FITTINGS, looks=LOOKS):
    for name, text in (("boats", boats), ("fittings", fittings), ("inspections", looks)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return [tmp_path / f"{n}.csv" for n in ("boats", "fittings", "inspections")]


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        ({"boats": ""}, 3, "boats.csv"),
        ({"boats": "boat_id,built\n"}, 3, "boats.csv"),
        ({"looks": "boat_id,fitting_id,inspected_on,outcome\nA,P1,2015-05-01,fine\n"}, 3, "method"),
        ({"looks": LOOKS.replace("no_indication", "fine")}, 3, "result"),
        ({"fittings": FITTINGS.replace("A,", "Z,")}, 3, "boat"),
        ({"looks": LOOKS.replace("2015", "2999")}, 3, "future"),
        ({"looks": LOOKS.replace("2015", "2003")}, 3, "installed"),
        ({"boats": "boat_id,boat_id\nA,B\n"}, 3, "boat_id"),
    ],
)
def test_unusable_files_are_three_lines_and_nothing_is_stored(tmp_path, bobstay, change, code, words):
    files = _three(tmp_path, **change)
    done = bobstay("run", *files, "--out", tmp_path / "out", cwd=tmp_path)
    assert done.code == code, done.err
    assert len(done.lines) == 3
    assert words in done.err
    assert "Traceback" not in done.err
    assert not (tmp_path / "out" / "tables").exists()
    assert bobstay("status", "--store", tmp_path / "out" / "bobstay.duckdb").code == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["run", "nowhere.csv"], "nowhere.csv"),
        (["run"], "FILE"),
        (["rnu"], "did you mean"),
        (["run", "boats.csv", "--dates", "ymd"], "dmy or mdy"),
        (["status"], "no store"),
        (["run", "boats.csv", "--settings", "none.toml"], "none.toml"),
        (["explain", "X"], "no store"),
    ],
)
def test_wrong_use_is_three_lines_and_exit_code_2(tmp_path, bobstay, arguments, words):
    _three(tmp_path)
    done = bobstay(*arguments, cwd=tmp_path)
    assert done.code == 2
    assert len(done.lines) == 3
    assert words.lower() in done.err.lower()


def test_an_unknown_setting_stores_nothing(tmp_path, bobstay):
    (tmp_path / "bobstay.toml").write_text("horizon = 3\n")
    done = bobstay("run", *_three(tmp_path), cwd=tmp_path)
    assert (done.code, len(done.lines)) == (2, 3)
    assert "horizon" in done.err
    assert not (tmp_path / "bobstay_out").exists()


def test_too_little_evidence_is_exit_code_4_with_everything_written(tmp_path, bobstay):
    done = bobstay("run", *_three(tmp_path), "--out", tmp_path / "out", cwd=tmp_path)
    assert done.code == 4, done.err
    assert "TOO LITTLE EVIDENCE" in done.out
    row = pd.read_csv(tmp_path / "out" / "tables" / "classes.csv").iloc[0]
    assert row["evidence"] == "none"
    assert pd.isna(row["b10_years"])
    assert (tmp_path / "out" / "index.html").is_file()


def test_unknown_boat_and_fitting_name_the_nearest(demo, bobstay):
    rows = pd.read_csv(demo / "tables" / "priority.csv", low_memory=False)
    boat, fitting = rows.iloc[0]["boat_id"], rows.iloc[0]["fitting_id"]
    store = demo / "bobstay.duckdb"
    wrong_boat = bobstay("explain", boat + "x", "--store", store)
    assert (wrong_boat.code, len(wrong_boat.lines)) == (2, 3)
    assert boat in wrong_boat.err
    wrong_fitting = bobstay("explain", boat, fitting + "x", "--store", store)
    assert (wrong_fitting.code, len(wrong_fitting.lines)) == (2, 3)
    assert fitting in wrong_fitting.err


def test_one_bad_row_does_not_take_the_rest_with_it(tmp_path, bobstay):
    looks = (
        LOOKS
        + "A,P1,2016-05-01,visual,fine\nA,P1,2017-05-01,visual,no_indication\nB,,2016-05-01,visual,no_indication\n"
    )
    done = bobstay("run", *_three(tmp_path, looks=looks), "--out", tmp_path / "out", cwd=tmp_path)
    assert done.code == 4
    aside = pd.read_csv(tmp_path / "out" / "tables" / "set_aside.csv").iloc[0]
    assert (aside["file"], aside["line"], aside["column"], aside["value"]) == ("inspections.csv", 3, "result", "fine")
    life = pd.read_csv(tmp_path / "out" / "tables" / "lives.csv").iloc[0]
    assert life["look_count"] == 2


def test_progress_stays_off_when_output_is_no_terminal(demo, bobstay):
    done = bobstay("report", "--store", demo / "bobstay.duckdb", env=dict(os.environ, NO_COLOR="1"))
    assert done.err == ""
    assert "\x1b" not in done.out
