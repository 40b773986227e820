"""The command line: one function a command, each reads as its story; the work is in `run` and the stages.

Nothing heavy is imported before a command runs, so that help stays quick.
"""

from __future__ import annotations

import io
import os
import sys
import traceback
from pathlib import Path
from typing import Any

import typer

from bobstay import __version__
from bobstay.cli import files, stages, telling  # help lists commands in the order in which these come
from bobstay.cli.program import app
from bobstay.engine_faults import explained, is_stop
from bobstay.errors import BobstayError
from bobstay.stopping import listen, was_asked
from bobstay.told import visible

# The matrices here are small: more threads only wait for each other, and the last digit of a sum would depend on their
# number. Read by linear algebra when numpy is first imported; what a user has set stays.
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")

__all__ = ["app", "files", "main", "run_command", "stages", "telling"]


STOPPED = 130  # what a shell gives a program that was stopped by Ctrl-C (128 and the signal's number)


def main(arguments: list[str] | None = None) -> None:
    """Run a command; print an error as three lines and leave with the exit code the contract gives it."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    _open_streams()
    listen()
    code = _flushed(run_command(sys.argv[1:] if arguments is None else arguments))
    if code == STOPPED:
        os._exit(code)  # Python itself would end by the signal where that came amid a text it was executing
    sys.exit(code)


def _open_streams() -> None:
    """Give a closed stream a sink, and let a stream of few letters write out those it lacks."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 (open to the end)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _flushed(code: int) -> int:
    """Write out what is still held back; return `code`, or 2 where it could not be written."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _sink()
    except OSError as fault:
        _sink()
        return _tell_of(fault, []) if code == 0 else code
    return code


def _sink() -> None:
    """Send the rest of stdout nowhere: its reader has gone, or it is full."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno() if sys.__stdout__ else 1)


def run_command(arguments: list[str]) -> int:
    """Run a command; return its exit code: 0 done, 2 wrong use, 3 unusable data, 4 too little evidence, 1 our fault.

    130: stopped by Ctrl-C.
    """
    wrong_use: Any = typer.BadParameter.__mro__[2]  # the base class of every complaint about arguments
    try:
        result = app(arguments, standalone_mode=False)
    except wrong_use as fault:  # an argument
        return _tell(_usage_lines(fault), 2)
    except (BrokenPipeError, SystemExit) as stop:  # typer makes an exit of a reader that has gone
        if isinstance(stop, SystemExit) and not isinstance(stop.__context__, BrokenPipeError):
            raise
        _sink()
        return 0
    except (typer.Abort, KeyboardInterrupt):
        return _stopped()
    except Exception as fault:
        return _tell_of(fault, arguments)
    if result == STOPPED:  # what typer makes of Ctrl-C
        return _stopped()
    return result if isinstance(result, int) else 0


def _stopped() -> int:
    return _tell(("error: stopped", "where: -", "to do: run it again; no file is half taken in"), STOPPED)


def _tell_of(fault: Exception, arguments: list[str]) -> int:
    """Tell of a fault: the user's or the system's in their words, else own up to it."""
    if is_stop(fault) or was_asked():  # what a stop breaks off may end as another fault
        return _stopped()
    known = fault if isinstance(fault, BobstayError) else explained(fault)
    if known is None:
        return _our_fault(fault, arguments)
    return _tell(known.lines(), known.exit_code)


def _our_fault(fault: Exception, arguments: list[str]) -> int:
    """Own up to a fault of ours; the trace is printed only where it is asked for."""
    if os.environ.get("BOBSTAY_TRACE"):
        traceback.print_exc()
    what = f"error: a fault in bobstay itself: {type(fault).__name__}: {fault}"
    where = f"where: bobstay {__version__}, command {' '.join(arguments[:1])}"
    remedy = "to do: run it again with BOBSTAY_TRACE=1 and send us what it prints; your files are untouched"
    return _tell((what, where, remedy), 1)


def _usage_lines(fault: BaseException) -> tuple[str, str, str]:
    text = fault.format_message() if hasattr(fault, "format_message") else str(fault)
    context = getattr(fault, "ctx", None)
    command = context.command_path if context else "bobstay"
    return (f"error: {text}", f"where: {command}", f"to do: see `{command} --help`")


def _tell(lines: tuple[str, str, str], code: int) -> int:
    for line in lines:
        print(visible(line.replace("\n", " ")), file=sys.stderr)  # noqa: T201
    return code
