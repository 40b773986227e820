"""Lives: from the rows of fittings, looks and events to what is known of each part's service."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from bobstay.errors import UnusableDataError
from bobstay.store import query, read, value

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
    "orphan_looks",
    "tallies",
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
    con.begin()
    try:
        _build_all(con, as_of, settings)
    except BaseException:
        con.rollback()
        raise
    con.commit()


def lives_then(con: duckdb.DuckDBPyConnection, *, as_of: date, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return lives and life_looks as they were known on `as_of`; the store keeps those it has."""
    con.begin()
    try:
        _build_all(con, as_of, settings)
        return read(con, "lives"), read(con, "life_looks")
    finally:
        con.rollback()


def _build_all(con: duckdb.DuckDBPyConnection, as_of: date, settings: Settings) -> None:
    _rank_methods(con, settings)
    for name in _STEPS:
        _build(con, name, as_of)
    for name in ("method_ranks", *reversed(_STEPS)):
        if name not in _KEPT:
            con.execute(f'DROP {"VIEW" if name == _VIEWED else "TABLE"} "{name}"')


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


def _build(con: duckdb.DuckDBPyConnection, name: str, as_of: date) -> None:
    text = query(name)
    if name == _VIEWED:
        text = text.replace("$as_of", f"DATE '{as_of.isoformat()}'")  # a view holds no parameters
        con.execute(f'CREATE OR REPLACE TEMP VIEW "{name}" AS {text}')
        return
    kind = "TABLE" if name in _KEPT else "TEMP TABLE"
    con.execute(f'CREATE OR REPLACE {kind} "{name}" AS {text}', {"as_of": as_of} if "$as_of" in text else {})


def _rank_methods(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Number method and scope by the chance to show a crack that is there, the surest highest."""
    order = sorted((rates.found, method, scope) for (method, scope), rates in settings.detection.items())
    con.execute("CREATE OR REPLACE TEMP TABLE method_ranks (method VARCHAR, scope VARCHAR, code BIGINT)")
    con.executemany(
        "INSERT INTO method_ranks VALUES ($1, $2, $3)",
        [(method, scope, code) for code, (_, method, scope) in enumerate(order)],
    )
