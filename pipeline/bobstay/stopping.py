"""Ctrl-C that is not forgotten.

Python raises KeyboardInterrupt wherever it happens to be. Where that is inside a library that catches whatever its own
trials raise, nobody hears of it (seen in one load of 120). So a stop is also written down here, and asked for again
before anything is made final.
"""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import FrameType

_asked: list[int] = []


def listen() -> None:
    """Write down every Ctrl-C from now on; where the shell made the program deaf to it, it stays so."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _stop)


def _stop(signum: int, _: FrameType | None) -> None:
    _asked.append(signum)
    raise KeyboardInterrupt


def was_asked() -> bool:
    """Say whether a stop was asked for since `listen`."""
    return bool(_asked)


def heed() -> None:
    """Raise KeyboardInterrupt where a stop was asked for since `listen`."""
    if was_asked():
        raise KeyboardInterrupt
