"""The options that commands share, and what they mean: where results lie, which settings are in force."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bobstay.errors import UsageError

if TYPE_CHECKING:
    from bobstay.ingest.record import Confirmation
    from bobstay.settings import Settings

OUT, DEMO_OUT, STORE_NAME = Path("bobstay_out"), Path("bobstay_demo"), "bobstay.duckdb"

Files = Annotated[list[Path], typer.Argument(metavar="FILE...", help="CSV, TSV, XLSX or Parquet files, or a folder")]
OutDir = Annotated[Path | None, typer.Option("--out", metavar="DIR", help="where results go (default bobstay_out)")]
StoreFile = Annotated[
    Path | None, typer.Option("--store", metavar="FILE.duckdb", help="the store (default OUT/bobstay.duckdb)")
]
SettingsFile = Annotated[
    Path | None, typer.Option("--settings", metavar="FILE", help="settings (default ./bobstay.toml, else the defaults)")
]
TableName = Annotated[str | None, typer.Option("--table", metavar="NAME", help="the table all the files hold")]
DateOrder = Annotated[
    str | None, typer.Option("--dates", metavar="dmy|mdy", help="how dates such as 3/4/19 are to be read")
]
Confirmer = Annotated[
    str | None,
    typer.Option("--confirm-change", metavar="NAME", help="who answers for rows that weaken an indication"),
]
Reason = Annotated[str | None, typer.Option("--reason", metavar="TEXT", help="why, with --confirm-change")]
MappingFiles = Annotated[
    list[Path] | None,
    typer.Option("--mapping", metavar="FILE", help="how a sender's files are read (once for each sender)"),
]
Json = Annotated[bool, typer.Option("--json", help="print the result as JSON")]
Quiet = Annotated[bool, typer.Option("--quiet", help="no progress")]


def places(out: Path | None, store: Path | None) -> tuple[Path, Path]:
    """Return the folder for results and the store; the demo's where there is no other."""
    folder = out or (DEMO_OUT if not (OUT / STORE_NAME).exists() and (DEMO_OUT / STORE_NAME).exists() else OUT)
    if out is None and store is not None:
        folder = store.parent
    return folder, store or folder / STORE_NAME


def given(settings: Path | None) -> Settings | None:
    """Return the settings of a file that was named or lies here; None: those the store remembers."""
    from bobstay.settings import FILE_NAME, load

    return load(settings) if settings is not None or Path(FILE_NAME).is_file() else None


def order(dates: str | None) -> str | None:
    """Return the declared order of dates; raises UsageError for a word that is none."""
    if dates not in {None, "dmy", "mdy"}:
        raise UsageError("unknown order of dates", where=f"--dates {dates}", remedy="allowed: dmy or mdy")
    return dates


def confirmation(name: str | None, reason: str | None) -> Confirmation | None:
    """Return who answers for changes that weaken an indication; a name without a reason is none, nor the reverse."""
    from bobstay.ingest.record import Confirmation

    if name is None and reason is None:
        return None
    if not (name or "").strip() or not (reason or "").strip():
        raise UsageError(
            "a change that weakens an indication needs a name and a reason",
            where=f"--confirm-change {name or ''} --reason {reason or ''}",
            remedy="give both: --confirm-change NAME --reason TEXT",
        )
    return Confirmation(" ".join(str(name).split()), " ".join(str(reason).split()))
