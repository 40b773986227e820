"""Stores that are locked, broken, strange, closed to writing or out of room; programs that are stopped.

Source: the exit codes and the three lines of the README; 130 for Ctrl-C is what shells use (POSIX), from memory.
"""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import pytest

from bobstay.cli import run_command
from bobstay.errors import StoreError
from bobstay.store import opened
from ingest_files import LOOKS, fleet, take

ROWS = 60_000
CLOSED_TO_ROOT = (1, 2)  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH: with them root may write anywhere
DROP_FROM_BOUNDING_SET = 24  # PR_CAPBSET_DROP


@pytest.fixture
def told(tmp_path, capsys):
    """Return a way to run a command on the store in this process: its code and its three lines."""

    def command(name: str, *arguments: object) -> tuple[int, list[str]]:
        capsys.readouterr()
        code = run_command([name, *map(str, arguments), "--store", str(tmp_path / "s.duckdb")])
        said = capsys.readouterr().err.splitlines()
        if code:
            assert [line.split(":")[0] for line in said] == ["error", "where", "to do"], said
            assert str(tmp_path / "s.duckdb") in said[1]
        return code, said

    return command


@pytest.fixture
def stored(tmp_path):
    """A store with the small fleet; its path."""
    take(tmp_path, fleet(tmp_path))
    return tmp_path / "s.duckdb"


def _child(*arguments: object, before=None) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "bobstay", *map(str, arguments)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen(command, **pipes, text=True, preexec_fn=before)  # noqa: PLW1509 (no thread of ours runs)


def test_a_second_writer_is_told_who_works_and_where_to_read(tmp_path, stored, told):
    text = f"import duckdb,sys; c = duckdb.connect({str(stored)!r}); print(1, flush=True); sys.stdin.read()"
    with subprocess.Popen([sys.executable, "-c", text], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout and other.stdout.readline()
        for command in (("ingest", *fleet(tmp_path)), ("status",)):
            code, said = told(*command)
            assert code == 2
            assert f"another program works on the store (process {other.pid})" in said[0]
            assert "tables/" in said[2]
        other.communicate()
    assert told("status")[0] == 0


def test_several_may_read_at_once(stored, told):
    with opened(stored, to_read=True), _child("status", "--store", stored) as reader:
        _, err = reader.communicate()
    assert reader.returncode == 0, err


def test_a_store_opened_to_read_cannot_be_written(stored):
    with opened(stored, to_read=True) as con, pytest.raises(duckdb.InvalidInputException, match="read-only"):
        con.execute("DELETE FROM boats")


def test_stores_of_others_and_of_other_versions_are_refused(tmp_path, stored, told):
    with duckdb.connect(str(stored)) as con:
        con.execute("UPDATE bobstay_store SET format = 99")
    code, said = told("status")
    assert (code, "another version of bobstay" in said[0], "format 99" in said[1]) == (2, True, True)
    with duckdb.connect(str(stored)) as con:
        con.execute("DROP TABLE bobstay_store")  # as stores were before they had a mark
    for command in (("ingest", *fleet(tmp_path)), ("status",)):
        code, said = told(*command)
        assert (code, "another version" in said[0], "--store" in said[2]) == (2, True, True)
    stored.unlink()
    with duckdb.connect(str(stored)) as con:
        con.execute("CREATE TABLE invoices (a INTEGER)")
    code, said = told("ingest", *fleet(tmp_path))
    assert (code, "another program" in said[0]) == (2, True)
    with duckdb.connect(str(stored)) as con:
        assert con.execute("SHOW TABLES").fetchall() == [("invoices",)]


def test_broken_stores_are_refused_wherever_they_are_broken(stored, told):
    """A bit flipped in the middle of each part of the file; cut short; text; a folder. DuckDB keeps a sum a block."""
    whole = stored.read_bytes()
    with duckdb.connect(str(stored), read_only=True) as con:
        sound = con.execute("SELECT * FROM inspections ORDER BY ALL").fetchall()
    refused = 0
    for place in range(50, len(whole), len(whole) // 12):
        stored.write_bytes(whole[:place] + bytes([whole[place] ^ 16]) + whole[place + 1 :])
        code, said = told("status")
        assert code in {0, 2}
        refused += code == 2
        if code == 0:  # the bit is in room that is not in use
            with duckdb.connect(str(stored), read_only=True) as con:
                assert con.execute("SELECT * FROM inspections ORDER BY ALL").fetchall() == sound
        else:
            assert "damaged" in said[0]
    assert refused >= 3
    for broken in (whole[: len(whole) // 2], b"boat_id,built\n" * 1000, b""):
        stored.write_bytes(broken)
        assert told("status")[0] == 2
    stored.unlink()
    stored.mkdir()
    assert told("status")[0] == 2


def _obey_permissions() -> None:
    """Take from root what lets it write anywhere; ends with 77 where that cannot be done."""
    if os.getuid() == 0:
        system = ctypes.CDLL(None, use_errno=True)
        if any(system.prctl(DROP_FROM_BOUNDING_SET, capability, 0, 0, 0) for capability in CLOSED_TO_ROOT):
            os._exit(77)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="permissions are tried on Linux only")
def test_what_is_closed_to_writing_is_left_alone_and_can_still_be_asked(tmp_path, stored):
    files = fleet(tmp_path, more_csv=LOOKS.replace("L", "M"))
    stored.chmod(0o444)
    tmp_path.chmod(0o555)
    try:
        with _child("ingest", *files, "--store", stored, before=_obey_permissions) as writer:
            _, err = writer.communicate()
        if writer.returncode == 77:
            pytest.skip("root's rights cannot be taken away here")
        assert writer.returncode == 2
        assert err.splitlines()[0] == "error: a file or folder may not be read or written"
        assert len(err.splitlines()) == 3
        with _child("ingest", *files, "--store", tmp_path / "new.duckdb", before=_obey_permissions) as writer:
            assert writer.communicate()[1].startswith("error: a file or folder may not")
        with _child("status", "--store", stored, before=_obey_permissions) as reader:
            out, err = reader.communicate()
        assert (reader.returncode, err) == (0, "")
        assert "3 inspections" in out
    finally:
        tmp_path.chmod(0o755)


def _many(folder: Path) -> Path:
    rows = (f"K{i},B1,CP1,{2006 + i % 15}-0{1 + i % 9}-1{i % 10},visual,relevant,{i * 7919 % 41}" for i in range(ROWS))
    path = folder / "many.csv"
    path.write_text("\n".join([LOOKS.splitlines()[0], *rows]))
    return path


def test_a_full_disk_stores_nothing_and_says_so(tmp_path, stored):
    room = stored.stat().st_size + 300_000

    def _little_room() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    with _child("ingest", _many(tmp_path), "--store", stored, before=_little_room) as writer:
        _, err = writer.communicate()
    assert writer.returncode == 2, err
    assert err.splitlines()[0] == "error: there is no room left to write"
    assert len(err.splitlines()) == 3
    with opened(stored) as con:
        assert con.execute("SELECT count(*) FROM inspections").fetchall() == [(3,)]
        assert con.execute("SELECT count(*) FROM files").fetchall() == [(3,)]


def _hears_ctrl_c() -> None:
    """A shell starts what it puts into the background deaf to Ctrl-C, and its children with it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_ctrl_c_ends_with_130_and_leaves_no_new_store(tmp_path):
    many = _many(tmp_path)
    store = tmp_path / "new.duckdb"
    with _child("ingest", *fleet(tmp_path), many, "--store", store, before=_hears_ctrl_c) as job:
        while not store.exists() and job.poll() is None:
            time.sleep(0.02)
        time.sleep(0.1)
        job.send_signal(signal.SIGINT)
        _, err = job.communicate()
    assert job.returncode == 130, err
    assert err.splitlines()[0] == "error: stopped"
    assert len(err.splitlines()) == 3
    assert not list(tmp_path.glob("new.duckdb*"))


def test_streams_that_are_closed_or_full_are_no_fault_of_ours(stored):
    command = f"{sys.executable} -m bobstay status --store {stored}"
    wanted = {f"{command} >&-": 0, f"{command} 2>&-": 0, f"{command} <&-": 0, f"{command} | true": 0}
    wanted |= {f"{command} >/dev/full": 2} if Path("/dev/full").exists() else {}
    for line, code in wanted.items():
        done = subprocess.run(["bash", "-c", f"set -o pipefail; {line}"], capture_output=True, text=True, check=False)
        assert (done.returncode, "Traceback" in done.stderr) == (code, False), line
        assert len(done.stderr.splitlines()) == (3 if code else 0), done.stderr


def test_no_colour_where_it_is_not_wanted(stored):
    done = subprocess.run(
        ["bash", "-c", f"script -qec '{sys.executable} -m bobstay status --store {stored}' /dev/null"],
        capture_output=True,
        env=os.environ | {"NO_COLOR": "1", "TERM": "xterm-256color"},
        check=False,
    )
    if done.returncode == 127:
        pytest.skip("there is no `script` to make a terminal with")
    assert done.returncode == 0
    assert b"\x1b[" not in done.stdout


def test_a_store_in_a_folder_that_is_no_text_is_refused(tmp_path):
    strange = tmp_path / os.fsdecode(b"\xff")
    with pytest.raises((StoreError, UnicodeEncodeError)), opened(strange / "s.duckdb", create=True):
        pass
