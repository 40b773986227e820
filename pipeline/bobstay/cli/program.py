"""The program that commands hang on."""

from __future__ import annotations

from typing import Annotated

import typer

from bobstay import __version__

app = typer.Typer(
    name="bobstay",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Learns from inspection records of many boats which fittings to test or renew, on which boat, when, and how "
    "sure one can be. It ranks where to look first; it never says that a fitting or a boat is fit for sea.",
)


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
