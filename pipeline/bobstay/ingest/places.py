"""Which files are meant, and the names under which they are known: never a folder of this machine."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from bobstay.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

TEXT_ENDINGS = (".csv", ".tsv", ".txt")
BOOK_ENDINGS = (".xlsx", ".xlsm")
PARQUET_ENDINGS = (".parquet", ".pq")
_IN_FOLDERS = (".csv", ".tsv", ".xlsx", ".parquet")


def files_meant(paths: Sequence[Path]) -> list[Path]:
    """Return the files given, each once, links followed; a folder stands for its CSV, TSV, XLSX and Parquet files.

    Raises UsageError that lists every file that is missing or of no known kind.
    """
    missing = [path.name for path in paths if not path.exists()]
    if missing:
        raise UsageError(f"files are not there: {', '.join(missing)}", where=missing[0], remedy="check their names")
    files = [file for path in paths for file in (_inside(path) if path.is_dir() else [path])]
    strange = [path for path in files if not path.is_file()]
    if strange:
        raise UsageError(
            "it is no file, but a pipe or a device", where=str(strange[0]), remedy="write it to a file, and give that"
        )
    if not files:
        raise UsageError("no file was given", remedy="name the files to take in, or a folder that holds them")
    unknown = [file.name for file in files if file.suffix.lower() not in TEXT_ENDINGS + BOOK_ENDINGS + PARQUET_ENDINGS]
    if unknown:
        raise UsageError(
            f"files are of no known kind: {', '.join(unknown)}",
            where=unknown[0],
            remedy="give CSV, TSV, TXT, XLSX or Parquet files",
        )
    return list(dict.fromkeys(file.resolve() for file in files))


def _inside(folder: Path) -> list[Path]:
    found = sorted(p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in _IN_FOLDERS)
    if not found:
        raise UsageError(
            "the folder holds no file of a known kind",
            where=folder.name,
            remedy="put CSV, TSV, XLSX or Parquet files there",
        )
    return found


def names_of(files: Sequence[Path], taken: Sequence[str]) -> dict[Path, str]:
    """Return a name for each file that no other has: its own, with its folder's, or with a number."""
    counts = Counter(file.name for file in files)
    used = set(taken)
    names: dict[Path, str] = {}
    for file in files:
        name = file.name if counts[file.name] == 1 else f"{file.parent.name}/{file.name}"
        names[file] = _free(_written_out(name), used)
        used.add(names[file])
    return names


def _written_out(name: str) -> str:
    """Return a name with the bytes in it that are no text written out: no table or page could hold them."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def _free(name: str, used: set[str]) -> str:
    number, free = 2, name
    while free in used:
        free = f"{name}#{number}"
        number += 1
    return free
