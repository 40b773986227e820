"""One open store with the settings in force, and the settings remembered from the last run."""

from __future__ import annotations

import json
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from bobstay import settings as settings_file
from bobstay import store
from bobstay.errors import UsageError
from bobstay.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    import duckdb
    import pandas as pd


DONE, TOO_LITTLE_EVIDENCE = 0, 4


@dataclass(frozen=True, slots=True)
class Job:
    """One open store with the settings and the as-of date in force, and where results go."""

    con: duckdb.DuckDBPyConnection
    out: Path
    settings: Settings
    as_of: date
    say: Callable[[str], None]

    def table(self, name: str, columns: Sequence[str] = ()) -> pd.DataFrame:
        """Read an output table that an earlier stage has written, or some of its columns."""
        return store.read(self.con, name, columns)

    def given(self, name: str) -> pd.DataFrame:
        """Read an input table as taken in, in the order of its files."""
        return self.con.execute(f'SELECT * FROM "{name}" ORDER BY file_id, line').df()


@contextmanager
def job(
    store_path: Path, *, out: Path, settings: Settings | None, say: Callable[[str], None], to_read: bool = False
) -> Iterator[Job]:
    """Open the store for stages, or `to_read` alone; without `settings` those of the last run are in force."""
    from bobstay.lives import newest_day

    with store.opened(store_path, to_read=to_read) as con:
        if not store.has(con, "boats"):
            raise UsageError(
                "the store holds no boats yet", where=str(store_path), remedy="run `bobstay ingest FILE...`"
            )
        settings = settings or remembered(con)
        if not to_read:
            out.mkdir(parents=True, exist_ok=True)
        yield Job(con, out, settings, settings.as_of or newest_day(con), say)


def remember(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Keep the settings in the store, so that a later stage or question works with the same ones."""
    con.execute("CREATE TABLE IF NOT EXISTS remembered (key VARCHAR PRIMARY KEY, value VARCHAR)")
    con.execute(
        "INSERT OR REPLACE INTO remembered VALUES ('settings', $value)",
        {"value": json.dumps(settings_file.tree(settings))},
    )


def remembered(con: duckdb.DuckDBPyConnection) -> Settings:
    """Return the settings kept in the store, or the defaults."""
    if not store.has(con, "remembered"):
        return Settings()
    kept = store.value(con, "SELECT value FROM remembered WHERE key = 'settings'")
    return settings_file.from_tree(json.loads(kept), source="store") if kept else Settings()
