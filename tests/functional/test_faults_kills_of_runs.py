"""kill -9 at random moments of every stage of a whole run: nothing is lost, and running again gives the same bytes.

The store opens and holds all or nothing of what was taken in, of what was worked out and of the lines of worksheets;
each file of results is the old one or the new one. Source of what must hold: the README's "nothing half stored";
atomicity as in Haerder and Reuter, "Principles of transaction-oriented database recovery" (1983), from memory.
BOBSTAY_KILLS_OF_RUNS=200 in the environment kills so many runs, at other moments by BOBSTAY_KILLS_FIRST.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import duckdb
import pytest

from bobstay import store
from bobstay.tables import INPUTS
from ingest_files import write

KILLS = int(os.environ.get("BOBSTAY_KILLS_OF_RUNS", "6"))
SERVER = Path(__file__).parents[1] / "kill_server.py"
FIRST = int(os.environ.get("BOBSTAY_KILLS_FIRST", "0"))
SEED = 20261126 + FIRST
STAGES = (  # the words at which each begins
    "process", "working out lives", "estimating", "checking the estimate", "ranking", "planning", "looking back",
    "writing tables", "wrote pages",
)  # fmt: skip
SETTINGS = (
    'as_of = "2020-01-01"\n[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\n'
    "minimum_events = 2\ndraws = 100\n[backtest]\norigins = 1\n"
)
TAKEN_IN = {t.name for t in INPUTS} | {"files", "set_aside", "cells_unread", "superseded", "words_merged"}
LINES = {"worksheet_lines"}
ONE_RUN = ("taken in", "worked out", "lines")


def _boats(first: int, last: int) -> str:
    rows = (f"B{n},Boat {n},{2000 + n},2008-05-01,salt" for n in range(first, last))
    return "\n".join(("boat_id,boat_name,built,joined,water", *rows)) + "\n"


def _fittings(first: int, last: int) -> str:
    rows = (f"B{b},CP{n},chainplate,316 stainless,2008-03-01,4" for b in range(first, last) for n in range(3))
    return "\n".join(("boat_id,fitting_id,fitting_type,material,installed,consequence", *rows)) + "\n"


def _looks(first: int, last: int) -> str:
    """Two looks at each fitting; every fourth finds something the second time."""
    rows = [
        f"L{b}{n}{y},B{b},CP{n},{y}-0{1 + n}-15,penetrant,{'no_indication' if (b + n) % 4 or y < 2016 else 'relevant'}"
        for b in range(first, last)
        for n in range(3)
        for y in (2011 + n, 2016 + n)
    ]
    return "\n".join(("inspection_id,boat_id,fitting_id,inspected_on,method,result", *rows)) + "\n"


SLOTS = "slot_id,starts_on,boats_max,hours_max,access\nW1,2020-01-13,1,40,hauled;mast_out\nW2,2020-01-20,1,40,\n"


class Server:
    """Jobs one after the other, each in a process of its own."""

    def __init__(self) -> None:
        env = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        self.child = subprocess.Popen([sys.executable, str(SERVER)], **pipes, text=True, env=env)
        if self.line() != "ready":
            pytest.fail("the server of jobs did not begin")

    def line(self) -> str:
        return self.child.stdout.readline().rstrip("\n") if self.child.stdout else ""

    def job(self, files: list[Path], out: Path, settings: Path, *, kill: tuple[str, float] | None = None) -> Ran:
        """Do a job; with `kill`, send the signal so many seconds after the stage of that name began."""
        wanted = {"paths": list(map(str, files)), "out": str(out), "settings": str(settings)}
        if self.child.stdin:
            self.child.stdin.write(json.dumps(wanted) + "\n")
            self.child.stdin.flush()
        process, began = 0, {}
        while not (line := self.line()).startswith("ended"):
            if not line:
                pytest.fail("the server of jobs ended")
            stage = _stage(line.strip())
            process = int(line.split()[1]) if stage == "process" else process
            began.setdefault(stage, time.perf_counter())
            if kill is not None and stage == kill[0]:
                time.sleep(kill[1])
                os.kill(process, signal.SIGKILL)
                kill = None
        return Ran(int(line.split()[1]), began)


@dataclass(frozen=True)
class Ran:
    """How a job ended and when each of its stages began."""

    code: int
    began: dict[str, float]

    def lengths(self) -> dict[str, float]:
        marks = list(self.began.items())
        return {name: end - begin for (name, begin), (_, end) in pairwise(marks)}


def _stage(word: str) -> str:
    if word.startswith("wrote"):
        return "wrote pages" if word.endswith("pages") else "papers"
    return next((stage for stage in STAGES if word.startswith(stage)), word)


@dataclass(frozen=True)
class Case:
    """A run that is left alone: what it is given, what was there before it, and what stands there after it."""

    files: list[Path]
    before: Path | None
    after: Path
    settings: Path
    lengths: dict[str, float]
    files_before: dict[str, str]
    files_after: dict[str, str]
    held_before: dict[str, str]
    held_after: dict[str, str]


@pytest.fixture(scope="module")
def server():
    made = Server()
    with made.child:
        yield made
        if made.child.stdin:
            made.child.stdin.close()


@pytest.fixture(scope="module")
def cases(tmp_path_factory, server):
    """A first run of a new store, and a second with a boat more and a worksheet come back."""
    folder = tmp_path_factory.mktemp("runs")
    settings = folder / "plain.toml"
    settings.write_text(SETTINGS)
    first = write(folder, boats_csv=_boats(1, 5), fittings_csv=_fittings(1, 5), looks_csv=_looks(1, 5), slots_csv=SLOTS)
    one, two = folder / "one", folder / "two"
    alone = server.job(first, one, settings)
    assert alone.code in {0, 4}
    with duckdb.connect(str(one / "b.duckdb"), read_only=True) as con:
        codes = [
            c for (c,) in con.execute("SELECT code FROM worksheet_lines ORDER BY boat_id, code LIMIT 3").fetchall()
        ]
    answers = (f"{codes[0]},no_indication,visual,2019-12-20", f"{codes[1]},relevant,penetrant,2019-12-20")
    back = "\n".join(("code,result,method,inspected_on", *answers)) + "\n"
    second = write(
        folder, boats2_csv=_boats(5, 6), fittings2_csv=_fittings(5, 6), looks2_csv=_looks(5, 6), back_csv=back
    )
    shutil.copytree(one, two)
    again = server.job(second, two, settings)
    assert again.code in {0, 4}
    assert len(_told(two / "b.duckdb", "rank_changes")) > 12
    marks = [(_sums(out, unfinished=True), _held(out / "b.duckdb")) for out in (one, two)]
    (files_one, held_one), (files_two, held_two) = marks
    return [
        Case(second, one, two, settings, again.lengths(), files_one, files_two, held_one, held_two),
        Case(first, None, one, settings, alone.lengths(), {}, files_one, {}, held_one),
    ]


def _told(path: Path, table: str) -> list[tuple[object, ...]]:
    with duckdb.connect(str(path), read_only=True) as con:
        return con.execute(f"SELECT * FROM {table} ORDER BY ALL").fetchall()


def _names(con: duckdb.DuckDBPyConnection) -> list[str]:
    names = con.execute("SELECT DISTINCT table_name FROM duckdb_columns() WHERE NOT internal ORDER BY ALL").fetchall()
    return [name for (name,) in names]


def _held(path: Path) -> dict[str, str]:
    """Return a mark of what the store holds: taken in, worked out, lines of worksheets, remembered."""
    marks = {name: hashlib.sha256() for name in (*ONE_RUN, "remembered")}
    with store.opened(path, to_read=True) as con:
        for name in _names(con):
            group = "taken in" if name in TAKEN_IN else "lines" if name in LINES else "worked out"
            rows = con.execute(f'SELECT * FROM "{name}" ORDER BY ALL').fetchall()
            marks["remembered" if name == "remembered" else group].update(f"{name} {rows}\n".encode())
    return {name: mark.hexdigest() for name, mark in marks.items()}


def _sums(out: Path, *, unfinished: bool) -> dict[str, str]:
    """Return the SHA-256 of every file of results; names that begin with a point are files not finished yet."""
    found = [p for p in sorted(out.rglob("*")) if p.is_file() and "b.duckdb" not in p.name]
    kept = [p for p in found if unfinished or not p.name.startswith(".")]
    return {p.relative_to(out).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in kept}


def _check_stopped(case: Case, out: Path) -> tuple[bool, ...]:
    """Say of what was taken in, worked out and listed whether it is new; fail on anything that is neither."""
    before, after = case.files_before, case.files_after
    for name, mark in _sums(out, unfinished=False).items():
        assert mark in {before.get(name), after.get(name)}, name
    assert not set(before) & set(after) - set(_sums(out, unfinished=False)), "a file of both runs is gone"
    if not (out / "b.duckdb").exists():
        assert case.before is None
        return (False, False, False)
    now, new, old = _held(out / "b.duckdb"), case.held_after, case.held_before
    is_new = tuple(now[part] == new[part] for part in ONE_RUN)
    if case.before:
        assert all(new or now[part] == old[part] for part, new in zip(ONE_RUN, is_new, strict=True))
    else:
        assert all(new or _is_empty(out / "b.duckdb", part) for part, new in zip(ONE_RUN, is_new, strict=True))
    return is_new


def _is_empty(path: Path, part: str) -> bool:
    """Say whether a new store holds no row of that part yet, and nothing at all of what is worked out."""
    with duckdb.connect(str(path), read_only=True) as con:
        names = set(_names(con))
        mine = names & (TAKEN_IN if part == "taken in" else LINES) if part != "worked out" else names - TAKEN_IN - LINES
        mine -= {"remembered", "bobstay_store"}
        counts = [con.execute(f'SELECT count(*) FROM "{n}"').fetchall()[0][0] for n in sorted(mine)]
    return not any(counts)


def test_a_run_killed_in_any_stage_loses_nothing_and_runs_again_to_the_same_bytes(server, cases, tmp_path):
    dice = random.Random(SEED)
    states: Counter[tuple[bool, ...]] = Counter()
    stages: Counter[str] = Counter()
    for number in range(KILLS):
        case = cases[
            (number + FIRST) // len(STAGES) % 3 // 2
        ]  # two rounds of stages of the second run to one of the first
        stage = STAGES[(number + FIRST) * 5 % len(STAGES)] if stages else "writing tables"
        out = tmp_path / "out"
        shutil.rmtree(out, ignore_errors=True)
        if case.before:
            shutil.copytree(case.before, out)
        ran = server.job(case.files, out, case.settings, kill=(stage, dice.uniform(0, case.lengths[stage])))
        assert ran.code in {-signal.SIGKILL, 0, 4}
        is_new = _check_stopped(case, out)
        assert is_new == tuple(sorted(is_new, reverse=True)), "what comes later is there without what it is made from"
        states[is_new] += 1
        stages[stage] += 1
        assert server.job(case.files, out, case.settings).code in {0, 4}
        assert _sums(out, unfinished=True) == case.files_after, (number, stage)
        assert _held(out / "b.duckdb") == case.held_after, (number, stage)
        sys.stdout.write(f"{number + 1} {stage} {is_new}\n")
    sys.stdout.write(f"{KILLS} kills: {dict(stages)}; taken in, worked out, lines new: {dict(states)}\n")
    assert len(states) > 1  # they did not all fall into one stage
