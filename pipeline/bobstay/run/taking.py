"""Files into the store, all or nothing."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from bobstay import store
from bobstay.errors import UsageError
from bobstay.run.job import remember
from bobstay.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from bobstay.ingest import Confirmation, IngestReport


def take_in(
    paths: Sequence[Path],
    *,
    store_path: Path,
    settings: Settings | None,
    table: str | None = None,
    dates: str | None = None,
    mappings: Sequence[Path] = (),
    confirmed: Confirmation | None = None,
    needed: Sequence[str] = (),
    say: Callable[[str], None],
) -> IngestReport:
    """Take files into the store in one transaction and remember the settings; nothing is stored on an error.

    Without `settings` those remembered stay in force. The store must end with a usable row in each table `needed`, and
    of boats, fittings and looks that a file was for.
    """
    from bobstay.ingest import ingest
    from bobstay.lives import newest_day
    from bobstay.mapping import load

    how = [load(path) for path in mappings]
    missing = [str(p) for p in paths if not p.exists()]
    if missing:
        raise UsageError("a file is not there", where=", ".join(missing), remedy="check the names; nothing was stored")
    folders = sorted({p.resolve() if p.is_dir() else p.resolve().parent for p in paths})
    limit = max(date.today(), (settings.as_of if settings else None) or date.min)
    with store.kept_only_if_done(store_path), store.opened(store_path, folders=folders, create=True) as con:
        taken = ingest(
            con,
            paths,
            limit=limit,
            table=table,
            dates=dates,
            mappings=how,
            confirmed=confirmed,
            needed=needed,
            say=say,
        )
        if needed and not (settings and settings.as_of):
            newest_day(con)  # refused while a new store can still be taken away
        if settings is not None:
            remember(con, settings)
    return taken
