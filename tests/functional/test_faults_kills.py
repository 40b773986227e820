"""kill -9 at random moments of a load, in its commit, and in the whole job: all of it or nothing, never half.

Source of what must hold: the README's "nothing half stored"; atomicity as in Haerder and Reuter, "Principles of
transaction-oriented database recovery" (1983), from memory. The number of kills: BOBSTAY_KILLS=LOAD,COMMIT,JOB.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from ingest_files import BOATS, FITTINGS, LOOKS, fleet, take

CHILD = Path(__file__).parents[1] / "kill_child.py"
IN_LOAD, IN_COMMIT, IN_JOB = map(int, os.environ.get("BOBSTAY_KILLS", "8,3,1").split(","))
ROWS = 20_000
SEED = 20261125
PLAIN = 'as_of = "2020-01-01"\n[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\n'
DERIVED = ("lives", "classes", "chances", "priority", "guidance", "haul_plan", "plan_summary")


def _env() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(CHILD.parent)}


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    """A store with a small fleet, and a file of many looks that it does not hold."""
    folder = tmp_path_factory.mktemp("kills")
    take(folder, fleet(folder))
    rows = (f"K{i},B1,CP1,{2006 + i % 15}-0{1 + i % 9}-1{i % 10},visual,no_indication,{i % 40}" for i in range(ROWS))
    (folder / "more.csv").write_text("\n".join([LOOKS.splitlines()[0], *rows, "K0,B9,CP1,2012,visual,relevant,"]))
    return folder


def _load(base: Path, store: Path, *, kill_after: tuple[str, float] | None) -> dict[str, float]:
    """Load more.csv into a copy of the store; kill so many seconds after a mark; return when each mark came."""
    shutil.copy(base / "s.duckdb", store)
    store.with_name(f"{store.name}.wal").unlink(missing_ok=True)
    command = [sys.executable, str(CHILD), str(store), str(base / "more.csv")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=_env()) as child:
        marks: dict[str, float] = {}
        for line in child.stdout or ():
            marks[line.strip()] = time.perf_counter()
            if kill_after and line.strip() == kill_after[0]:
                time.sleep(kill_after[1])
                child.kill()
                break
        code = child.wait()
    marks["end"] = time.perf_counter()
    if kill_after is None and code != 0:
        pytest.fail("the load that was left alone failed")
    return marks


def _held(store: Path) -> str:
    """Open the store and say whether it holds all of more.csv or nothing of it; fail on anything between."""
    with duckdb.connect(str(store)) as con:
        looks = con.execute("SELECT count(*) FROM inspections WHERE starts_with(inspection_id, 'K')").fetchall()[0][0]
        aside = con.execute("SELECT count(*) FROM set_aside WHERE file = 'more.csv'").fetchall()[0][0]
        files = con.execute("SELECT rows_read, rows_used FROM files WHERE file = 'more.csv'").fetchall()
        first = con.execute("SELECT count(*) FROM inspections WHERE starts_with(inspection_id, 'L')").fetchall()[0][0]
    state = (looks, aside, files, first)
    assert state in ((0, 0, [], 3), (ROWS, 1, [(ROWS + 1, ROWS)], 3)), state
    return "all" if looks else "nothing"


def test_a_load_that_is_killed_leaves_all_of_the_file_or_nothing(base, tmp_path):
    left_alone = _load(base, tmp_path / "whole.duckdb", kill_after=None)
    assert _held(tmp_path / "whole.duckdb") == "all"
    length = left_alone["commit"] - left_alone["ready"]
    ending = left_alone["end"] - left_alone["commit"]
    dice = random.Random(SEED)
    moments = [("ready", dice.uniform(0, length)) for _ in range(IN_LOAD)]
    moments += [("commit", dice.uniform(0, ending / 2)) for _ in range(IN_COMMIT)]
    counts = {"all": 0, "nothing": 0}
    for number, moment in enumerate(moments):
        store = tmp_path / f"{number}.duckdb"
        _load(base, store, kill_after=moment)
        counts[_held(store)] += 1
    sys.stdout.write(f"{IN_LOAD} kills in a load of {length:.1f} s, {IN_COMMIT} in its commit: {counts}\n")
    assert sum(counts.values()) == IN_LOAD + IN_COMMIT
    assert counts["nothing"] >= IN_LOAD / 2  # they did fall into the load
    # the last store that was killed takes the file in afterwards as if nothing had been
    _load_again(base, store)


def _load_again(base: Path, store: Path) -> None:
    command = [sys.executable, str(CHILD), str(store), str(base / "more.csv")]
    subprocess.run(command, check=True, capture_output=True, env=_env())
    assert _held(store) == "all"


def _sums(out: Path) -> dict[str, str]:
    """Return the SHA-256 of every file of results; names that begin with a point are files not finished yet."""
    files = [p for p in sorted(out.rglob("*")) if p.is_file() and ".duckdb" not in p.name and p.name[0] != "."]
    return {p.relative_to(out).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def _job(folder: Path, name: str, out: Path) -> list[str]:
    command = [sys.executable, "-m", "bobstay", "run", *map(str, sorted((folder / name).glob("*.csv")))]
    return [*command, "--out", str(out), "--settings", str(folder / "plain.toml"), "--quiet"]


def _stored(store: Path) -> tuple[str, ...]:
    """Return what the tables that a job works out say, as one text each."""
    with duckdb.connect(str(store)) as con:
        return tuple(str(con.execute(f'SELECT * FROM "{name}" ORDER BY ALL').fetchall()) for name in DERIVED)


def test_a_job_that_is_killed_leaves_each_file_old_or_new_and_the_results_of_one_run(tmp_path):
    """The second run has a boat more, so that every table differs; kills fall into its later part, where it writes."""
    for name, more in (("first", ""), ("second", "B3,Third,2001,2010,\n")):
        (tmp_path / name).mkdir()
        part = "B3,CP1,chainplate,316 stainless,2005-03-01,,4\n" if more else ""
        fleet(tmp_path / name, boats_csv=BOATS + more, fittings_csv=FITTINGS + part)
    (tmp_path / "plain.toml").write_text(PLAIN)
    old, new = tmp_path / "old", tmp_path / "new"
    assert subprocess.run(_job(tmp_path, "first", old), capture_output=True, check=False).returncode in {0, 4}
    shutil.copytree(old, new)
    began = time.perf_counter()
    assert subprocess.run(_job(tmp_path, "second", new), capture_output=True, check=False).returncode in {0, 4}
    length = time.perf_counter() - began
    before, after = _sums(old), _sums(new)
    stored = {_stored(old / "bobstay.duckdb"), _stored(new / "bobstay.duckdb")}
    assert len(stored) == 2
    assert sum(before.get(name) != mark for name, mark in after.items()) > 20
    dice = random.Random(SEED)
    for number in range(IN_JOB):
        out = tmp_path / f"killed{number}"
        shutil.copytree(old, out)
        with subprocess.Popen(
            _job(tmp_path, "second", out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as job:
            time.sleep(dice.uniform(0.4, 0.98) * length)
            job.kill()
        for name, mark in _sums(out).items():
            assert mark in {before.get(name), after.get(name)}, name
        assert _stored(out / "bobstay.duckdb") in stored
