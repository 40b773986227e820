"""Runs a command of bobstay on a disk that has no more room from a stage on: no file takes more than its first bytes.

The disk is full for one file at a time (RLIMIT_FSIZE), as the system lets a test do without rights of its own.
"""

from __future__ import annotations

import resource
import signal
import sys

from bobstay import run
from bobstay.cli import run_command

LEFT = 2_000  # bytes: nothing can be written to a file beyond them


def _full_from(stage: str) -> None:
    do = getattr(run, stage)

    def on_a_full_disk(*given, **named):
        resource.setrlimit(resource.RLIMIT_FSIZE, (LEFT, LEFT))
        return do(*given, **named)

    setattr(run, stage, on_a_full_disk)


if __name__ == "__main__":
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    _full_from(sys.argv[1])
    sys.exit(run_command(sys.argv[2:]))
