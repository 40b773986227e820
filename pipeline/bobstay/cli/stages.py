"""Commands that do one stage on the store."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from bobstay.cli.options import Json, OutDir, Quiet, SettingsFile, StoreFile, given, places
from bobstay.cli.program import app

if TYPE_CHECKING:
    from collections.abc import Callable


@app.command()
def estimate(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Work out lives, estimate the ages at which indications show, by class of fitting, and check the estimate."""
    from bobstay import run

    return _stage(run.estimate_stage, ("classes",), store, settings, out, json=json, quiet=quiet)


@app.command()
def rank(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Rank the fittings in service and set the guidance of each class."""
    from bobstay import run

    return _stage(run.rank_stage, ("priority",), store, settings, out, json=json, quiet=quiet)


@app.command()
def plan(
    *,
    fix: Annotated[
        Path | None,
        typer.Option(
            "--fix", metavar="FILE.csv", help="decisions to keep: boat_id, slot_id[, starts_on, fitting_id, action]"
        ),
    ] = None,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Put boats into yard slots within capacity, hours, budget and the days they may be out."""
    from bobstay import run

    stage = partial(run.plan_stage, fix=fix)
    return _stage(stage, ("plan_summary", "haul_plan"), store, settings, out, json=json, quiet=quiet)


@app.command()
def report(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Write every table, page and the manifest from what the store holds."""
    from bobstay import run, show

    folder, store_path = places(out, store)
    with run.job(store_path, out=folder, settings=given(settings), say=show.progress(quiet)) as job:
        written = run.report_stage(job)
    show.written(folder, written, json=json)
    return 0


@app.command()
def backtest(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Estimate on the records up to earlier years and score what the looks after them found."""
    from bobstay import run

    return _stage(run.backtest_stage, ("backtest", "backtest_verdict"), store, settings, out, json=json, quiet=quiet)


@app.command()
def shortcuts(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Say what the usual shortcuts would have claimed on the same records, class by class."""
    from bobstay import run

    return _stage(run.shortcuts_stage, ("shortcuts",), store, settings, out, json=json, quiet=quiet)


def _stage(
    stage: Callable[..., Any],
    tables: tuple[str, ...],
    store: Path | None,
    settings: Path | None,
    out: Path | None,
    *,
    json: bool,
    quiet: bool,
) -> int:
    """Run one stage on the store, write the store's tables, and show the tables the stage makes."""
    from bobstay import run, show
    from bobstay.export import write_tables
    from bobstay.store import at_once

    folder, store_path = places(out, store)
    with run.job(store_path, out=folder, settings=given(settings), say=show.progress(quiet)) as job:
        with at_once(job.con):
            code = stage(job)
        write_tables(job.con, job.out)
        show.frames({name: job.table(name) for name in tables}, json=json)
    return code or 0
