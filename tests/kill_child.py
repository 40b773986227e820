"""Takes a file into a store and says when it begins and when it is about to commit, so that it can be killed there."""

from __future__ import annotations

import sys
from pathlib import Path

import pyarrow

from bobstay import run
from bobstay.ingest import load
from bobstay.settings import Settings

_check = load._refuse_unless_needed


def _say(mark: str) -> None:
    sys.stdout.write(f"{mark}\n")
    sys.stdout.flush()


def _marked(*arguments) -> None:
    _check(*arguments)
    _say("commit")


if __name__ == "__main__":
    load._refuse_unless_needed = _marked
    del pyarrow  # imported beforehand, so that the time that is killed in is the load's own
    _say("ready")
    run.take_in([Path(sys.argv[2])], store_path=Path(sys.argv[1]), settings=Settings(), say=lambda _text: None)
