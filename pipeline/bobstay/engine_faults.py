"""What the system and the engine complain of, said in our three lines: a full disk, a lock, a broken file.

The engine has no codes for these, so its texts are searched; each text here was seen from duckdb 2.0 in a test.
"""

from __future__ import annotations

import errno
import re
from typing import TYPE_CHECKING

from bobstay.errors import BobstayError, StoreError

if TYPE_CHECKING:
    from collections.abc import Callable

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_CLOSED = (errno.EACCES, errno.EPERM, errno.EROFS)
_FULL_WORDS = ("No space left on device", "File too large", "Disk quota exceeded")
_CLOSED_WORDS = ("Permission denied", "Read-only file system", "Operation not permitted")
_BROKEN_WORDS = ("Corrupt database file", "Could not read enough bytes", "not a valid DuckDB", "deserialize")
_NEWER_WORDS = ("newer version of DuckDB", "storage version", "version number")
_STOPPED_WORDS = ("Query interrupted", "INTERRUPT Error")
_LOCK_HOLDER = re.compile(r"PID (\d+)")


def is_stop(fault: BaseException) -> bool:
    """Say whether a person stopped the work: Ctrl-C, also while the engine was at work."""
    return isinstance(fault, KeyboardInterrupt) or any(word in str(fault) for word in _STOPPED_WORDS)


def explained(fault: BaseException, *, where: str = "") -> BobstayError | None:
    """Return the three lines for a fault of the system or the engine, None where it may be a fault of ours.

    `where` names the store, if it is known that the engine speaks of it.
    """
    if isinstance(fault, OSError) and fault.errno is not None:
        return _of_system(fault)
    if isinstance(fault, UnicodeEncodeError):
        return StoreError(
            "a name holds bytes that are no text", where=fault.object[:200], remedy="rename the file or folder"
        )
    if isinstance(fault, MemoryError):
        return _too_large("-")
    text = str(fault)
    for words, error in _ENGINE:
        if any(word in text for word in words):
            return error(text, where or _named(text))
    return None


def _of_system(fault: OSError) -> BobstayError:
    where = str(fault.filename or "-")
    if fault.errno in _FULL:
        return _full("", where)
    if fault.errno in _CLOSED:
        return _closed("", where)
    return StoreError(
        f"a file or folder cannot be used: {fault.strerror}", where=where, remedy="name another one, and run it again"
    )


def _full(_: str, where: str) -> BobstayError:
    remedy = "make room on the disk, and run it again; no file is half taken in"
    return StoreError("there is no room left to write", where=where, remedy=remedy)


def _closed(_: str, where: str) -> BobstayError:
    return StoreError(
        "a file or folder may not be read or written", where=where, remedy="allow it, or name another place"
    )


def _locked(text: str, where: str) -> BobstayError:
    holder = _LOCK_HOLDER.search(text)
    by = f" (process {holder[1]})" if holder else ""
    return StoreError(
        f"another program works on the store{by}",
        where=where,
        remedy="wait until it is done; meanwhile read the files under tables/ and the pages, which are always whole",
    )


def _broken(text: str, where: str) -> BobstayError:
    return StoreError(
        f"the store is damaged, or no store: {text.splitlines()[0]}",
        where=where,
        remedy="put a copy of the store back, or name a new one with --store and take the files in again",
    )


def _newer(text: str, where: str) -> BobstayError:
    return StoreError(
        f"the store was written by another version of the engine: {text.splitlines()[0]}",
        where=where,
        remedy="use the bobstay that wrote it, or name a new store with --store and take the files in again",
    )


def _too_large(_: str, where: str = "-") -> BobstayError:
    return StoreError(
        "the work needs more memory than it may take", where=where, remedy="split the largest file, and run it again"
    )


def _named(text: str) -> str:
    """Return the file an engine's complaint names."""
    found = re.search(r'"([^"]+)"', text)
    return found[1] if found else "-"


_ENGINE: tuple[tuple[tuple[str, ...], Callable[[str, str], BobstayError]], ...] = (
    (("Could not set lock",), _locked),
    (_FULL_WORDS, _full),
    (_CLOSED_WORDS, _closed),
    (_NEWER_WORDS, _newer),
    (_BROKEN_WORDS, _broken),
    (("Out of Memory Error", "could not allocate block", "failed to pin block"), _too_large),
)
