"""A Ctrl-C that a library keeps to itself is still heeded before anything is kept (from memory: POSIX's 130)."""

from __future__ import annotations

import subprocess
import sys

import pytest

# the library that catches whatever is raised in it is played by a bare `except`
SWALLOWED = """
import os, signal, sys
import duckdb
from bobstay import stopping, store
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have made us deaf
stopping.listen()
con = duckdb.connect(sys.argv[1])
try:
    with store.at_once(con):
        con.execute("CREATE TABLE kept AS SELECT 1 AS x")
        try:
            os.kill(os.getpid(), signal.SIGINT)
            for _ in range(1000): pass
        except:
            print("swallowed")
except KeyboardInterrupt:
    print(con.execute("SELECT count(*) FROM duckdb_tables()").fetchall()[0][0])
"""
DEAF = "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN); from bobstay import stopping; stopping.listen(); "


def _said(text: str, *arguments: str) -> list[str]:
    done = subprocess.run([sys.executable, "-c", text, *arguments], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


@pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX's")
def test_a_stop_a_library_swallowed_keeps_nothing(tmp_path):
    assert _said(SWALLOWED, str(tmp_path / "a.duckdb")) == ["swallowed", "0"]


@pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX's")
def test_a_program_made_deaf_by_its_shell_stays_deaf():
    assert _said(DEAF + "print(signal.getsignal(signal.SIGINT) is signal.SIG_IGN)") == ["True"]
