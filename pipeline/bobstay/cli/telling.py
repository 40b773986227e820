"""Commands that answer a question from the store, and the study of the estimate itself."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bobstay.cli.options import Json, OutDir, Quiet, SettingsFile, StoreFile, given, places
from bobstay.cli.program import app
from bobstay.errors import UsageError

if TYPE_CHECKING:
    from bobstay.settings import Settings


@app.command()
def explain(
    boat: Annotated[str | None, typer.Argument(metavar="BOAT", help="boat_id or name")] = None,
    fitting: Annotated[str | None, typer.Argument(metavar="[FITTING]", help="fitting_id")] = None,
    *,
    of_class: Annotated[
        tuple[str, str] | None, typer.Option("--class", metavar="TYPE MATERIAL", help="a class of guidance instead")
    ] = None,
    store: StoreFile = None,
    settings: SettingsFile = None,
    out: OutDir = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Say why a boat, a fitting or a class stands where it stands: rows, numbers, assumptions, what would change it."""
    from bobstay import run, show
    from bobstay.explain import explain_boat, explain_class, explain_fitting

    if (boat is None) == (of_class is None):
        raise UsageError(
            "explain takes a boat, or a class",
            where="bobstay explain",
            remedy="give BOAT [FITTING], or --class TYPE MATERIAL",
        )

    folder, store_path = places(out, store)
    with run.job(store_path, out=folder, settings=given(settings), say=show.progress(quiet), to_read=True) as job:
        if of_class is not None:
            told = explain_class(job, *of_class)
        else:
            told = explain_fitting(job, str(boat), fitting) if fitting else explain_boat(job, str(boat))
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

    folder, store_path = places(out, store)
    with run.job(store_path, out=folder, settings=given(settings), say=show.progress(quiet), to_read=True) as job:
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

    folder, store_path = places(out, store)
    with run.job(store_path, out=folder, settings=given(settings), say=show.progress(quiet), to_read=True) as job:
        show.told(holdings(job), json=json)
    return 0


@app.command()
def study(
    *,
    fleets: Annotated[str, typer.Option(metavar="N", help="fleets of each size (one number, or one a size)")] = "20",
    boats: Annotated[str, typer.Option(metavar="B,B", help="boats in a fleet")] = "40,150",
    into: Annotated[
        Path | None, typer.Option("--into", metavar="FILE.md", help="also put it between its marks")
    ] = None,
    keep: Annotated[
        Path | None, typer.Option("--keep", metavar="FILE.jsonl", help="keep what is done, and go on from it")
    ] = None,
    json: Json = False,
    quiet: Quiet = False,
) -> int:
    """Try the estimate on simulated fleets of known truth and print what came out, as Markdown."""
    from bobstay import show
    from bobstay.study import markdown, put_into, records, sizes_of, study

    found = study(sizes_of(fleets, boats), say=show.progress(quiet), keep=keep)
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
    in_force: Settings | None = given(settings)
    if in_force is None and (path := places(out, store)[1]).exists():
        with stores.opened(path, to_read=True) as con:
            in_force = run.remembered(con)
    show.settings_in_force(in_force or Settings(), json=json)
    return 0
