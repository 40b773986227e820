"""Commands that take files: the demo, the whole job, a load alone, a first mapping."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bobstay.cli.options import (
    DEMO_OUT,
    OUT,
    STORE_NAME,
    Confirmer,
    DateOrder,
    Files,
    Json,
    MappingFiles,
    OutDir,
    Quiet,
    Reason,
    SettingsFile,
    StoreFile,
    TableName,
    confirmation,
    given,
    order,
    places,
)
from bobstay.cli.program import app


@app.command()
def demo(*, out: OutDir = None, settings: SettingsFile = None, json: Json = False, quiet: Quiet = False) -> int:
    """Write the invented demo fleet's files and do the whole job on them."""
    from bobstay import run, show
    from bobstay.data_demo import copy_to
    from bobstay.settings import load
    from bobstay.store import forget

    folder = out or DEMO_OUT
    say = show.progress(quiet)
    say("writing the invented demo fleet")
    copied = copy_to(folder / "data")
    files = [p for p in copied if p.suffix in {".csv", ".xlsx", ".parquet"}]
    forget(folder / STORE_NAME, made_from={p.name for p in copied})
    in_force = load(settings or folder / "data" / "bobstay.toml")
    code = run.whole_job(files, out=folder, store_path=folder / STORE_NAME, settings=in_force, say=say)
    return _summary(folder, folder / STORE_NAME, code=code, json=json)


@app.command("run")
def whole(
    files: Files,
    *,
    out: OutDir = None,
    store: StoreFile = None,
    settings: SettingsFile = None,
    table: TableName = None,
    dates: DateOrder = None,
    mapping: MappingFiles = None,
    confirm_change: Confirmer = None,
    reason: Reason = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Do the whole job: take the files in, estimate, rank, plan, and write tables and pages."""
    from bobstay import run, show
    from bobstay.settings import load

    folder = out or OUT
    store_path = store or folder / STORE_NAME
    code = run.whole_job(
        files,
        out=folder,
        store_path=store_path,
        settings=load(settings),
        table=table,
        dates=order(dates),
        mappings=mapping or (),
        confirmed=confirmation(confirm_change, reason),
        say=show.progress(quiet),
    )
    return _summary(folder, store_path, code=code, json=json)


@app.command()
def ingest(
    files: Files,
    *,
    out: OutDir = None,
    store: StoreFile = None,
    settings: SettingsFile = None,
    table: TableName = None,
    dates: DateOrder = None,
    mapping: MappingFiles = None,
    confirm_change: Confirmer = None,
    reason: Reason = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Take files into the store; rows that cannot be used are set aside with the reason and the way to mend them."""
    from bobstay import returned, run, show

    folder, store_path = places(out, store)
    in_force, say = given(settings), show.progress(quiet)
    taken = run.take_in(
        files,
        store_path=store_path,
        settings=in_force,
        table=table,
        dates=order(dates),
        mappings=mapping or (),
        confirmed=confirmation(confirm_change, reason),
        say=say,
    )
    told = returned.ranked_again(taken, store_path, out=folder, settings=in_force, say=say)
    show.taken_in(taken, json=json, returned=told)
    return 0


@app.command()
def propose(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="a CSV, TSV, XLSX or Parquet file as its sender wrote it")
    ],
    *,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.toml", help="where to write it (default: stdout)")
    ] = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Write a first mapping for a stranger's file: samples of every column, and every open question as a comment."""
    from bobstay import show
    from bobstay.propose import proposed

    del quiet  # there is no progress to show
    show.proposal(proposed(file), out=out, json=json)
    return 0


def _summary(folder: Path, store_path: Path, *, code: int, json: bool) -> int:
    """Show what the whole job found, in the words of the fleet page."""
    from bobstay import run, show
    from bobstay.holdings import outcome

    with run.job(store_path, out=folder, settings=None, say=show.progress(quiet=True), to_read=True) as job:
        show.told(outcome(job, folder, code), json=json)
    return code
