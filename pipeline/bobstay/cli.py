"""The command line: one function a command, each reads as its story; the work is in `run` and the stages.

Nothing heavy is imported before a command runs, so that help stays quick.
"""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from bobstay import __version__
from bobstay.errors import BobstayError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from bobstay.ingest.record import Confirmation
    from bobstay.settings import Settings

OUT, DEMO_OUT, STORE_NAME = Path("bobstay_out"), Path("bobstay_demo"), "bobstay.duckdb"

app = typer.Typer(
    name="bobstay",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Learns from inspection records of many boats which fittings to test or renew, on which boat, when, and how "
    "sure one can be. It ranks where to look first; it never says that a fitting or a boat is fit for sea.",
)

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


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"bobstay {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="print the version")
    ] = False,
) -> None:
    """Take the options that stand before a command."""


@app.command()
def demo(*, out: OutDir = None, settings: SettingsFile = None, json: Json = False, quiet: Quiet = False) -> int:
    """Write the invented demo fleet's files and do the whole job on them."""
    from bobstay import run, show
    from bobstay.data_demo import copy_to
    from bobstay.settings import load

    folder = out or DEMO_OUT
    say = show.progress(quiet)
    say("writing the invented demo fleet")
    copied = copy_to(folder / "data")
    files = [p for p in copied if p.suffix in {".csv", ".xlsx", ".parquet"}]
    run.forget_store(folder / STORE_NAME, made_from={p.name for p in copied})
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
        dates=_order(dates),
        mappings=mapping or (),
        confirmed=_confirmed(confirm_change, reason),
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
    from bobstay import run, show
    from bobstay.settings import load

    store_path = store or (out or OUT) / STORE_NAME
    taken = run.take_in(
        files,
        store_path=store_path,
        settings=load(settings),
        table=table,
        dates=_order(dates),
        mappings=mapping or (),
        confirmed=_confirmed(confirm_change, reason),
        say=show.progress(quiet),
    )
    show.taken_in(taken, json=json)
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
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Put boats into yard slots within capacity, hours, budget and the days they may be out."""
    from bobstay import run

    return _stage(run.plan_stage, ("plan_summary", "haul_plan"), store, settings, out, json=json, quiet=quiet)


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

    folder, store_path = _places(out, store)
    with run.job(store_path, out=folder, settings=_given(settings), say=show.progress(quiet)) as job:
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

    return _stage(run.backtest_stage, ("backtest",), store, settings, out, json=json, quiet=quiet)


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


@app.command()
def explain(
    boat: Annotated[str, typer.Argument(metavar="BOAT", help="boat_id or name")],
    fitting: Annotated[str | None, typer.Argument(metavar="[FITTING]", help="fitting_id")] = None,
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Say why a boat or a fitting stands where it stands: rows, numbers, assumptions, what would change it."""
    from bobstay import run, show
    from bobstay.explain import explain_boat, explain_fitting

    folder, store_path = _places(out, store)
    with run.job(store_path, out=folder, settings=_given(settings), say=show.progress(quiet)) as job:
        told = explain_fitting(job, boat, fitting) if fitting else explain_boat(job, boat)
    show.told(told, json=json)
    return 0


@app.command()
def history(
    boat: Annotated[str, typer.Argument(metavar="BOAT", help="boat_id or name")],
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Say what the records hold of a boat, for a buyer or an insurer: facts, with their rows; it is no certificate."""
    from bobstay import run, show
    from bobstay.history import history_of

    folder, store_path = _places(out, store)
    with run.job(store_path, out=folder, settings=_given(settings), say=show.progress(quiet)) as job:
        show.told(history_of(job, boat), json=json)
    return 0


@app.command()
def status(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Say what the store holds, from which files, what was set aside and why."""
    from bobstay import run, show
    from bobstay.holdings import holdings

    folder, store_path = _places(out, store)
    with run.job(store_path, out=folder, settings=_given(settings), say=show.progress(quiet)) as job:
        show.told(holdings(job), json=json)
    return 0


@app.command()
def study(
    *,
    fleets: Annotated[str, typer.Option(metavar="N", help="fleets of each size (one number, or one a size)")] = "20",
    boats: Annotated[str, typer.Option(metavar="B,B", help="boats in a fleet")] = "40,150",
    into: Annotated[Path | None, typer.Option("--into", metavar="FILE.md", help="also put it between its marks")] = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Try the estimate on simulated fleets of known truth and print what came out, as Markdown."""
    from bobstay import show
    from bobstay.study import markdown, put_into, records, sizes_of, study

    found = study(sizes_of(fleets, boats), say=show.progress(quiet))
    if into is not None:
        put_into(into, markdown(found), command=f"bobstay study --fleets {fleets} --boats {boats}")
    show.study(markdown(found), records(found), json=json)
    return 0


@app.command("settings")
def show_settings(
    *,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Print the settings in force, in the form of bobstay.toml, and where each comes from."""
    from bobstay import run, show
    from bobstay import store as stores
    from bobstay.settings import Settings

    del quiet  # there is no progress to show
    in_force: Settings | None = _given(settings)
    if in_force is None and (path := _places(out, store)[1]).exists():
        with stores.opened(path) as con:
            in_force = run.remembered(con)
    show.settings_in_force(in_force or Settings(), json=json)
    return 0


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

    folder, store_path = _places(out, store)
    with run.job(store_path, out=folder, settings=_given(settings), say=show.progress(quiet)) as job:
        code = stage(job)
        write_tables(job.con, job.out)
        show.frames({name: job.table(name) for name in tables}, json=json)
    return code or 0


def _summary(folder: Path, store_path: Path, *, code: int, json: bool) -> int:
    """Show what the whole job found, in the words of the fleet page."""
    from bobstay import run, show
    from bobstay.holdings import outcome

    with run.job(store_path, out=folder, settings=None, say=show.progress(quiet=True)) as job:
        show.told(outcome(job, folder, code), json=json)
    return code


def _places(out: Path | None, store: Path | None) -> tuple[Path, Path]:
    """Return the folder for results and the store; the demo's where there is no other."""
    folder = out or (DEMO_OUT if not (OUT / STORE_NAME).exists() and (DEMO_OUT / STORE_NAME).exists() else OUT)
    if out is None and store is not None:
        folder = store.parent
    return folder, store or folder / STORE_NAME


def _given(settings: Path | None) -> Settings | None:
    """Return the settings of a file that was named or lies here; None: those the store remembers."""
    from bobstay.settings import FILE_NAME, load

    return load(settings) if settings is not None or Path(FILE_NAME).is_file() else None


def _order(dates: str | None) -> str | None:
    if dates not in {None, "dmy", "mdy"}:
        raise UsageError("unknown order of dates", where=f"--dates {dates}", remedy="allowed: dmy or mdy")
    return dates


def _confirmed(name: str | None, reason: str | None) -> Confirmation | None:
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


def main(arguments: list[str] | None = None) -> None:
    """Run a command; print an error as three lines and leave with the exit code the contract gives it."""
    sys.exit(run_command(sys.argv[1:] if arguments is None else arguments))


def run_command(arguments: list[str]) -> int:
    """Run a command; return its exit code: 0 done, 2 wrong use, 3 unusable data, 4 too little evidence, 1 our fault."""
    wrong_use: Any = typer.BadParameter.__mro__[2]  # the base class of every complaint about arguments
    try:
        result = app(arguments, standalone_mode=False)
    except BobstayError as fault:
        return _tell(fault.lines(), fault.exit_code)
    except wrong_use as fault:  # an argument
        return _tell(_usage_lines(fault), 2)
    except (typer.Abort, KeyboardInterrupt):
        return _tell(("error: stopped", "where: -", "to do: run it again; nothing was half stored"), 1)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as fault:
        if os.environ.get("BOBSTAY_TRACE"):
            traceback.print_exc()
        return _tell(
            (
                f"error: a fault in bobstay itself: {type(fault).__name__}: {fault}",
                f"where: bobstay {__version__}, command {' '.join(arguments[:1])}",
                "to do: run it again with BOBSTAY_TRACE=1 and send us what it prints; your files are untouched",
            ),
            1,
        )
    return result if isinstance(result, int) else 0


def _usage_lines(fault: BaseException) -> tuple[str, str, str]:
    text = fault.format_message() if hasattr(fault, "format_message") else str(fault)
    context = getattr(fault, "ctx", None)
    command = context.command_path if context else "bobstay"
    return (f"error: {text}", f"where: {command}", f"to do: see `{command} --help`")


def _tell(lines: tuple[str, str, str], code: int) -> int:
    for line in lines:
        print(line.replace("\n", " "), file=sys.stderr)  # noqa: T201
    return code
