"""The demo, done once for all tests that want it, and a small way to run a command."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class Done:
    """What one command gave back."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        return self.err.strip().splitlines()


def command(*arguments: object, cwd: Path | None = None, env: dict[str, str] | None = None) -> Done:
    """Run `bobstay` as a user would, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "bobstay", *map(str, arguments)],
        cwd=cwd,
        env=env,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    return Done(done.returncode, done.stdout, done.stderr)


@pytest.fixture(scope="session")
def bobstay():
    return command


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Path:
    """The folder in which `bobstay demo` was done once; BOBSTAY_DEMO names one done before, to save the minute.

    Of that one this session has a copy of its own: a store is opened by one program at a time.
    """
    folder = tmp_path_factory.mktemp("demo")
    if os.environ.get("BOBSTAY_DEMO"):
        return Path(shutil.copytree(os.environ["BOBSTAY_DEMO"], folder / "out"))
    done = command("demo", "--out", folder / "out", "--quiet", cwd=folder)
    if done.code != 0:
        pytest.fail(f"bobstay demo ended with {done.code}: {done.err}")
    return folder / "out"
