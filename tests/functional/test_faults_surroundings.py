"""What a machine may do to a run: no room left in any stage, no letters, no home, no fonts, another time, closed files.

Each ends in three lines and loses nothing, or in the very bytes of an undisturbed run. Source: the exit codes and three
lines of the README; the list of faults is common practice, no source.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from bobstay import store
from bobstay.cli import run_command
from bobstay.run import taking
from ingest_files import BOATS, FITTINGS, LOOKS, fleet

CHILD = Path(__file__).parents[1] / "full_disk_child.py"
STAGES = ("take_in", "estimate_stage", "rank_stage", "plan_stage", "backtest_if_small", "report_stage")
SETTINGS = 'as_of = "2020-01-01"\n[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\n'
MORE_LOOKS = "inspection_id,boat_id,fitting_id,inspected_on,method,result\n" + "".join(
    f"M{n},B1,CP{1 + n % 2},201{4 + n % 6}-0{1 + n % 9}-11,visual,no_indication\n" for n in range(40)
)


def _run(files: list[Path], out: Path, *before: str, **options: object) -> subprocess.CompletedProcess[str]:
    settings = files[0].parent / "bobstay_here.toml"
    settings.write_text(SETTINGS)
    command = [sys.executable, *(before or ("-m", "bobstay")), "run", *map(str, files)]
    command += ["--out", str(out), "--store", str(out / "b.duckdb"), "--settings", str(settings), "--quiet"]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False, **options)


def _sums(out: Path) -> dict[str, str]:
    files = [p for p in sorted(out.rglob("*")) if p.is_file() and "b.duckdb" not in p.name]
    return {p.relative_to(out).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


@pytest.fixture(scope="module")
def done(tmp_path_factory) -> tuple[list[Path], Path]:
    """The small fleet's files, and the folder of a run of them that nothing disturbed."""
    folder = tmp_path_factory.mktemp("undisturbed")
    files = fleet(folder)
    assert _run(files, folder / "out").returncode in {0, 4}
    return files, folder / "out"


@pytest.fixture(scope="module")
def more(done, tmp_path_factory) -> tuple[list[Path], Path]:
    """A file of looks that the store does not hold, and the folder of the run that took it in after the first."""
    folder = tmp_path_factory.mktemp("more")
    (folder / "more.csv").write_text(MORE_LOOKS)
    shutil.copytree(done[1], folder / "out")
    assert _run([folder / "more.csv"], folder / "out").returncode in {0, 4}
    return [folder / "more.csv"], folder / "out"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="a file's size is bounded so on Linux only")
@pytest.mark.parametrize("stage", STAGES)
def test_a_disk_full_in_any_stage_is_said_and_nothing_is_lost(done, more, tmp_path, stage):
    out = tmp_path / "out"
    shutil.copytree(done[1], out)
    before, after = _sums(done[1]), _sums(more[1])
    ended = _run(more[0], out, str(CHILD), stage)
    assert ended.returncode == 2, ended.stderr
    assert ended.stderr.splitlines()[0] == "error: there is no room left to write"
    assert len(ended.stderr.splitlines()) == 3
    for name, mark in _sums(out).items():
        assert mark in {before.get(name), after.get(name)}, name
    with store.opened(out / "b.duckdb", to_read=True) as con:
        looks = store.value(con, "SELECT count(*) FROM inspections")
        ranked = store.value(con, "SELECT sum(look_count) FROM lives")
    assert (looks == 43) == (stage != "take_in")
    assert (ranked > 9) == (stage == "report_stage")
    assert _run(more[0], out).returncode in {0, 4}
    assert _sums(out) == after


HOSTILE = {"LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "TZ": "Pacific/Kiritimati"}
NOWHERE = {"HOME": "/nonexistent", "XDG_CACHE_HOME": "/nonexistent", "XDG_CONFIG_HOME": "/nonexistent"}


def _bare(folder: Path) -> dict[str, str]:
    """Return surroundings with few letters, no home, no font, and a day of its own."""
    fonts = folder / "fonts.conf"
    fonts.write_text("<?xml version='1.0'?><fontconfig></fontconfig>")
    return {"PATH": os.environ["PATH"], "FONTCONFIG_FILE": str(fonts)} | HOSTILE | NOWHERE


def test_no_letters_no_home_no_fonts_another_day_and_closed_inputs_give_the_same_bytes(done, tmp_path):
    given = tmp_path / "given"
    given.mkdir()
    files = [Path(shutil.copy(file, given)) for file in done[0]]
    (given / "bobstay_here.toml").write_text(SETTINGS)
    for path in (*files, given):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        command = [sys.executable, "-m", "bobstay", "run", *map(str, files), "--out", str(tmp_path / "out"), "--quiet"]
        command += ["--store", str(tmp_path / "out" / "b.duckdb"), "--settings", str(given / "bobstay_here.toml")]
        ended = subprocess.run(command, env=_bare(tmp_path), cwd=tmp_path, capture_output=True, check=False)
    finally:
        given.chmod(0o755)
    assert ended.returncode in {0, 4}, ended.stderr
    assert _sums(tmp_path / "out") == _sums(done[1])


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="folders are hidden so on Linux only")
def test_a_machine_without_any_font_gives_the_same_bytes(done, tmp_path):
    """A namespace of its own in which the folders of fonts are empty; skipped where that is not allowed."""
    hidden = [folder for folder in ("/usr/share/fonts", "/usr/local/share/fonts") if Path(folder).is_dir()]
    if not hidden:
        pytest.skip("this machine has no fonts to hide")
    mounts = "; ".join(f"mount -t tmpfs none {folder} || exit 77" for folder in hidden)
    job = f"{mounts}; exec {sys.executable} -m bobstay run " + " ".join(map(str, done[0]))
    job += f" --out {tmp_path}/out --store {tmp_path}/out/b.duckdb --settings {done[0][0].parent}/bobstay_here.toml"
    command = ["unshare", "--mount", "bash", "-c", f"{job} --quiet"]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    if ended.returncode == 77 or "unshare" in ended.stderr:
        pytest.skip(f"no namespace here: {ended.stderr}")
    assert ended.returncode in {0, 4}, ended.stderr
    assert _sums(tmp_path / "out") == _sums(done[1])


@pytest.mark.parametrize(("today", "code"), [(date(1970, 1, 2), 0), (date(2090, 1, 1), 0)])
def test_a_clock_that_is_wrong_changes_nothing_where_the_day_is_given(tmp_path, monkeypatch, capsys, today, code):
    """The settings' as_of is the day; the clock only bounds what may be a day of the past where none is given."""
    rows = []
    for number, day in enumerate((date(2020, 3, 1), today)):
        folder = tmp_path / str(number)
        folder.mkdir()
        files = fleet(folder)
        (folder / "s.toml").write_text('as_of = "2020-11-01"\n')
        monkeypatch.setattr(taking, "date", type("Clock", (date,), {"today": classmethod(lambda _, day=day: day)}))
        command = [
            "ingest",
            *map(str, files),
            "--store",
            str(folder / "s.duckdb"),
            "--settings",
            str(folder / "s.toml"),
        ]
        assert run_command(command) == code, capsys.readouterr().err
        with store.opened(folder / "s.duckdb", to_read=True) as con:
            rows.append(con.execute("SELECT * FROM inspections ORDER BY ALL").fetchall())
    assert len(rows[0]) == 3
    assert rows[0] == rows[1]


def test_a_clock_set_back_sets_rows_aside_for_that_reason_where_no_day_is_given(tmp_path, monkeypatch, capsys):
    """Every look lies in the future of such a clock: nothing is stored, and the three lines say so."""
    monkeypatch.setattr(taking, "date", type("Clock", (date,), {"today": classmethod(lambda _: date(1970, 1, 2))}))
    code = run_command(["ingest", *map(str, fleet(tmp_path)), "--store", str(tmp_path / "s.duckdb")])
    said = capsys.readouterr().err.splitlines()
    assert code == 3
    assert [line.split(":")[0] for line in said[-3:]] == ["error", "where", "to do"]
    assert not (tmp_path / "s.duckdb").exists()


def test_a_run_without_any_day_to_stand_on_leaves_no_new_store(tmp_path, capsys):
    """The README's exit 3: nothing is stored. All looks are of days that nobody knows; a fuzzed fleet had them so."""
    looks = LOOKS.replace("2012-02-01", "XXXX").replace("2015-11", "XXXX")
    fittings = FITTINGS.replace("2005-03-01", "").replace("2009~", "")
    boats = BOATS.replace("2001,2010-05-01", ",").replace("1999-04", "").replace("2020-10-31", "")
    files = fleet(tmp_path, boats_csv=boats, fittings_csv=fittings, looks_csv=looks)
    out = tmp_path / "out"
    assert run_command(["run", *map(str, files), "--out", str(out), "--store", str(out / "b.duckdb")]) == 3
    assert "as-of date" in capsys.readouterr().err
    assert not (out / "b.duckdb").exists()
