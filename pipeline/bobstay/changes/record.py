"""What the store keeps of the last run: what it was made from, and how its fittings stood.

A run on the same files, settings, day and version is the same run, and is compared with the same one as before.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from bobstay import __version__, store
from bobstay.changes.table import moved
from bobstay.settings import tree
from bobstay.tables import CHANGES

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    import duckdb
    import pandas as pd

    from bobstay.settings import Settings

_THIS, _BEFORE = "run", "run_before"
# How each fitting in service stands: from its place on its list to what is known of it.
_STANDING = """CREATE OR REPLACE TABLE priority_then AS
    SELECT p.boat_id, p.fitting_id, p.fitting_type, p.material, p.life_id, p.list, p.rank, p.chance, p.expected_loss,
        p.action, l.look_count, l.voided_by
    FROM priority p LEFT JOIN lives l USING (life_id) ORDER BY p.boat_id, p.fitting_id"""


@dataclass(frozen=True, slots=True)
class Run:
    """What a run was made from: its day, version, files by name and SHA-256, and settings by key."""

    as_of: str
    version: str
    files: Mapping[str, str]
    settings: Mapping[str, Any]


def this_run(con: duckdb.DuckDBPyConnection, settings: Settings, as_of: date) -> Run:
    """Return what this run is made from; the language of the pages does not count."""
    held = con.execute('SELECT file, part, sha256 FROM files ORDER BY file, part, "table"').fetchall()
    files = {named(file, part): sha for file, part, sha in held}
    kept = {key: value for key, value in _flat(tree(settings)) if not key.startswith("words.")}
    return Run(as_of.isoformat(), __version__, files, kept)


def named(file: str, part: str) -> str:
    """Return the name under which a run knows a file, or a sheet of it."""
    return file if part == "-" else f"{file} [{part}]"


def _flat(branch: Mapping[str, Any], above: str = "") -> list[tuple[str, Any]]:
    rows: list[tuple[str, Any]] = []
    for key, value in branch.items():
        rows += _flat(value, f"{above}{key}.") if isinstance(value, dict) else [(f"{above}{key}", value)]
    return sorted(rows)


def last_run(con: duckdb.DuckDBPyConnection) -> Run | None:
    """Return what the fittings were last ranked from; None where they never were."""
    return _remembered(con, _THIS)


def keep_last(con: duckdb.DuckDBPyConnection, run: Run) -> None:
    """Before the fittings are ranked anew: set the last run's standing aside where this is another run."""
    last = last_run(con)
    if last is None or last == run or not store.has(con, "priority_then"):
        return
    con.execute("CREATE OR REPLACE TABLE priority_before AS SELECT * FROM priority_then ORDER BY boat_id, fitting_id")
    _remember(con, _BEFORE, last)


def note(con: duckdb.DuckDBPyConnection, run: Run) -> None:
    """After the fittings are ranked: keep how they stand, and write what moved since the run before."""
    con.execute(_STANDING)
    _remember(con, _THIS, run)
    before = run_before(con)
    was, now = _standing(con, "priority_before", before), _standing(con, "priority_then", run)
    store.write(con, CHANGES, moved(was, now, before=before, now_run=run))


def run_before(con: duckdb.DuckDBPyConnection) -> Run | None:
    """Return the run that this store's last one is compared with; None where there is none."""
    return _remembered(con, _BEFORE)


def _standing(con: duckdb.DuckDBPyConnection, name: str, run: Run | None) -> pd.DataFrame:
    """Return how the fittings stood; the present ones' columns and no row where there was no run."""
    rows = "" if run else " LIMIT 0"
    return con.execute(f"SELECT * FROM {name if run else 'priority_then'} ORDER BY boat_id, fitting_id{rows}").df()


def _remember(con: duckdb.DuckDBPyConnection, key: str, run: Run) -> None:
    con.execute("CREATE TABLE IF NOT EXISTS remembered (key VARCHAR PRIMARY KEY, value VARCHAR)")
    con.execute(
        "INSERT OR REPLACE INTO remembered VALUES ($key, $value)",
        {"key": key, "value": json.dumps(asdict(run), sort_keys=True)},
    )


def _remembered(con: duckdb.DuckDBPyConnection, key: str) -> Run | None:
    if not store.has(con, "remembered"):
        return None
    kept = store.value(con, "SELECT value FROM remembered WHERE key = $key", {"key": key})
    return Run(**json.loads(kept)) if kept else None
