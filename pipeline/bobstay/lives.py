"""Lives: from the rows of fittings, looks and events to what is known of each part's service."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from bobstay.errors import UnusableDataError
from bobstay.store import at_once, query, read, value

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from bobstay.settings import Settings

# In the order of building: each SELECT reads only those above it and the input tables.
_STEPS = (
    "places",
    "graded_looks",
    "actions",
    "fitting_rows",
    "handovers",
    "parts",
    "moves",
    "spells",
    "rough_looks",
    "life_looks",
    "tallies",
    "orphan_looks",
    "voidings",
    "lives",
    "coverage",
)
_KEPT = frozenset({"spells", "life_looks", "orphan_looks", "lives", "coverage"})
_VIEWED = "graded_looks"  # as long as inspections, and each reader needs other columns: written out it costs more


def build_lives(con: duckdb.DuckDBPyConnection, *, as_of: date, settings: Settings) -> None:
    """Build the tables spells, life_looks, orphan_looks, lives and coverage anew, all or none of them.

    Rows dated after `as_of` are not yet known. `con` must have no transaction open.
    """
    with at_once(con):
        build_within(con, as_of=as_of, settings=settings)


def lives_then(con: duckdb.DuckDBPyConnection, *, as_of: date, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return lives and life_looks as they were known on `as_of`; the store keeps those it has."""
    try:
        _build_all(con, as_of, settings, kept=frozenset())
        return read(con, "lives"), read(con, "life_looks")
    finally:
        _drop_steps(con, frozenset())


def build_within(con: duckdb.DuckDBPyConnection, *, as_of: date, settings: Settings) -> None:
    """Do what build_lives does, in a transaction that is open and that the caller ends."""
    _build_all(con, as_of, settings, kept=_KEPT)
    _drop_steps(con, _KEPT)


def _drop_steps(con: duckdb.DuckDBPyConnection, kept: frozenset[str]) -> None:
    for name in ("method_ranks", *reversed(_STEPS)):
        if name not in kept:
            con.execute(f'DROP {"VIEW" if name == _VIEWED else "TABLE"} IF EXISTS temp.main."{name}"')


def _build_all(con: duckdb.DuckDBPyConnection, as_of: date, settings: Settings, *, kept: frozenset[str]) -> None:
    """Build every step; those in `kept` as tables of the store, all others as temporary ones."""
    _rank_methods(con, settings)
    for name in _STEPS:
        _build(con, name, as_of, is_kept=name in kept)


def newest_day(con: duckdb.DuckDBPyConnection, *, today: date | None = None) -> date:
    """Return the newest day among looks, installations, removals and events, never after `today`.

    Raises UnusableDataError where no row has a day.
    """
    day: date | None = value(con, query("newest_day"), {"today": today or date.today()})
    if day is None:
        raise UnusableDataError(
            "no row has a day that could serve as the as-of date",
            where="inspections, fittings, events",
            remedy="state as_of in the settings",
        )
    return day


def _build(con: duckdb.DuckDBPyConnection, name: str, as_of: date, *, is_kept: bool) -> None:
    text = query(name)
    if name == _VIEWED:
        text = text.replace("$as_of", f"DATE '{as_of.isoformat()}'")  # a view holds no parameters
        con.execute(f'CREATE OR REPLACE TEMP VIEW "{name}" AS {text}')
        return
    kind = "TABLE" if is_kept else "TEMP TABLE"
    con.execute(f'CREATE OR REPLACE {kind} "{name}" AS {text}', {"as_of": as_of} if "$as_of" in text else {})


def _rank_methods(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Number method and scope by the chance to show a crack that is there, the surest highest."""
    order = sorted((rates.found, method, scope) for (method, scope), rates in settings.detection.items())
    con.execute("CREATE OR REPLACE TEMP TABLE method_ranks (method VARCHAR, scope VARCHAR, code BIGINT)")
    con.executemany(
        "INSERT INTO method_ranks VALUES ($1, $2, $3)",
        [(method, scope, code) for code, (_, method, scope) in enumerate(order)],
    )
