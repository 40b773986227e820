"""The DuckDB file that holds everything: opened with every safety setting, read and written by whole tables."""

from __future__ import annotations

from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bobstay.engine_faults import explained
from bobstay.errors import StoreError, UsageError
from bobstay.sql_text import quoted
from bobstay.stopping import heed
from bobstay.tables import LIFE_LOOKS, OUTPUT_BY_NAME, OutputTable, checked

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    import duckdb
    import pandas as pd
    import pyarrow as pa

MEMORY = "1600MB"  # what is more goes to disk: a process holds about a third more than it counts (measured)
FORMAT = 1  # raise it when tables that are kept (not made anew by a run) are laid out otherwise
_MARK = "bobstay_store"
SQL_TYPES = {"text": "VARCHAR", "integer": "BIGINT", "number": "DOUBLE", "date": "DATE", "boolean": "BOOLEAN"}


def query(name: str) -> str:
    """Return the text of queries/NAME.sql."""
    return files("bobstay.queries").joinpath(f"{name}.sql").read_text(encoding="utf-8")


@contextmanager
def opened(
    path: Path, *, folders: Sequence[Path] = (), create: bool = False, to_read: bool = False
) -> Iterator[duckdb.DuckDBPyConnection]:
    """Open the store at `path`; only its own folder and `folders` can be reached from SQL.

    With `to_read` nothing can be written but temporary tables, several programs may read at once, and a store in a
    folder that is closed to writing can be read. Raises UsageError where there is no store and `create` is false,
    StoreError where it cannot be opened, is none of ours, or is of another version.
    """
    import duckdb

    if not create and not path.exists():
        raise UsageError(
            "there is no store to read",
            where=str(path),
            remedy="run `bobstay run FILE...` first, or name the store with --store",
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    con = _connected(path, to_read=to_read)
    try:
        _lock_down(con, [path.parent, *folders])
        _refuse_unless_ours(con, path, create=create)
        yield con
    except duckdb.Error as fault:
        known = explained(fault, where=str(path))
        if known is None:
            raise
        raise known from fault
    finally:
        con.close()


def _lock_down(con: duckdb.DuckDBPyConnection, folders: Sequence[Path]) -> None:
    """Let SQL reach `folders` and nothing else, and let no SQL change that."""
    con.execute("SET python_enable_replacements = false")
    names = [str(folder.resolve()) for folder in folders]
    texts = [quoted(name) for name in names if name.encode("utf-8", "replace").decode("utf-8") == name]
    con.execute(f"SET allowed_directories = [{', '.join(texts)}]")
    con.execute("SET enable_external_access = false")
    con.execute("SET lock_configuration = true")


def _connected(path: Path, *, to_read: bool) -> duckdb.DuckDBPyConnection:
    import duckdb

    if path.exists() and not path.is_file():
        raise StoreError("the store is no file", where=str(path), remedy="name another store with --store")
    str(path).encode("utf-8")  # raises UnicodeEncodeError; of such names the engine only says "bad cast"
    config: dict[str, str | bool | int | float | list[str]] = {
        "memory_limit": MEMORY,
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "allow_community_extensions": "false",
        "temp_directory": str(path.parent / f"{path.name}.spill"),
    }
    try:
        return duckdb.connect(str(path), config=config, read_only=to_read)
    except duckdb.Error as fault:
        raise explained(fault, where=str(path)) or StoreError(
            f"the store cannot be opened: {str(fault).splitlines()[0]}",
            where=str(path),
            remedy="name another store with --store",
        ) from fault


def _refuse_unless_ours(con: duckdb.DuckDBPyConnection, path: Path, *, create: bool) -> None:
    """Mark a new store; refuse another program's file, and a store whose tables are laid out for another version."""
    names = {name for (name,) in con.execute("SELECT table_name FROM information_schema.tables").fetchall()}
    if not names and create:
        con.execute(f"CREATE TABLE {_MARK} AS SELECT {FORMAT} AS format")
        return
    found = value(con, f"SELECT max(format) FROM {_MARK}") if _MARK in names else None
    if names and found != FORMAT:
        is_ours = _MARK in names or {"files", "boats"} <= names
        raise StoreError(
            f"the store is of {'another version of bobstay' if is_ours else 'another program'}",
            where=f"{path}, format {found or 'not stated'}, this version reads {FORMAT}",
            remedy="name a new store with --store and give it the files again" if is_ours else "name a new store",
        )


def forget(store_path: Path, *, made_from: set[str]) -> None:
    """Take away a store that holds nothing but the files named, so that a new demo is not added to an old one.

    Raises UsageError where it holds a file of the user's own.
    """
    if not store_path.exists():
        return
    with opened(store_path) as con:
        held = set(read(con, "files")["file"]) if has(con, "files") else set()
    if held - made_from:
        raise UsageError(
            "the demo will not touch a store that holds other files",
            where=f"{store_path}: {', '.join(sorted(held - made_from))}",
            remedy="choose another folder with --out",
        )
    store_path.unlink()


@contextmanager
def kept_only_if_done(store_path: Path) -> Iterator[None]:
    """Take away a store, and a folder, that were new when the load failed: nothing is half stored."""
    new, new_folder = not store_path.exists(), not store_path.parent.exists()
    try:
        yield
    except BaseException:  # also where it was stopped
        if new:
            _take_away(store_path, with_folder=new_folder)
        raise


def _take_away(store_path: Path, *, with_folder: bool) -> None:
    for path in (store_path, store_path.with_name(f"{store_path.name}.wal")):
        if path.is_file():
            path.unlink()
    if with_folder and store_path.parent.is_dir() and not any(store_path.parent.iterdir()):
        store_path.parent.rmdir()


@contextmanager
def at_once(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """Keep all that is written within, or nothing; `con` must have no transaction open.

    A Ctrl-C that a library kept to itself is heeded before anything is kept.
    """
    con.begin()
    try:
        yield
        heed()
    except BaseException:
        con.rollback()
        raise
    con.commit()


def build(con: duckdb.DuckDBPyConnection, name: str, parameters: Mapping[str, Any] | None = None) -> None:
    """Make table NAME anew from queries/NAME.sql."""
    con.execute(f'CREATE OR REPLACE TABLE "{name}" AS {query(name)}', dict(parameters or {}))


@contextmanager
def handed_over(con: duckdb.DuckDBPyConnection, name: str, rows: pa.Table) -> Iterator[None]:
    """Let SQL read `rows` by NAME, in one statement and once.

    The engine keeps what is registered until the transaction ends. A reader that has been read holds nothing any more.
    """
    import pyarrow as pa

    con.register(name, pa.RecordBatchReader.from_batches(rows.schema, iter(rows.to_batches())))
    del rows
    try:
        yield
    finally:
        con.unregister(name)


def write(con: duckdb.DuckDBPyConnection, table: OutputTable, frame: pd.DataFrame) -> None:
    """Write `frame` as the whole of `table`, checked against its promise."""
    write_parts(con, table, [frame])


def write_parts(
    con: duckdb.DuckDBPyConnection, table: OutputTable, frames: Iterable[pd.DataFrame], *, temporary: bool = False
) -> None:
    """Write `frames` one after another as the whole of `table`, each checked against its promise; at least one."""
    import pyarrow as pa

    columns = ", ".join(f'CAST("{c.name}" AS {SQL_TYPES[c.dtype]}) AS "{c.name}"' for c in table.columns)
    where = f'temp.main."{table.name}"' if temporary else f'"{table.name}"'
    verb = f"CREATE OR REPLACE {'TEMP ' if temporary else ''}TABLE {where} AS"
    for frame in frames:
        with handed_over(con, "incoming", pa.Table.from_pandas(checked(frame, table), preserve_index=False)):
            con.execute(f"{verb} SELECT {columns} FROM incoming")
        verb = f"INSERT INTO {where}"


def value(con: duckdb.DuckDBPyConnection, sql: str, parameters: Mapping[str, Any] | None = None) -> Any:
    """Return the first cell of the first row, None where there is no row; the result is fetched to its end.

    A result that is not fetched to its end keeps the connection from its next work.
    """
    rows = con.execute(sql, dict(parameters or {})).fetchall()
    return rows[0][0] if rows else None


def has(con: duckdb.DuckDBPyConnection, name: str) -> bool:
    """Say whether the store has table NAME."""
    # half the time that information_schema takes
    sql = "SELECT count(*) > 0 FROM duckdb_columns() WHERE table_name = $name AND NOT internal"
    return bool(value(con, sql, {"name": name}))


def needed(con: duckdb.DuckDBPyConnection, name: str) -> None:
    """Raise UsageError where the store has no table NAME: an earlier stage has not been run yet."""
    if not has(con, name):
        raise UsageError(
            f"the store has no table {name} yet",
            where="store",
            remedy="run the earlier stages, or `bobstay run`",
        )


def boats_at_once(con: duckdb.DuckDBPyConnection, lives: int) -> list[tuple[str, str]]:
    """Return the first and the last boat of each piece of the fleet, in order: a boat is whole in one piece.

    A piece has about as many `lives`, or one boat of more. There is always a piece, if only of no boat.
    """
    sql = """SELECT min(boat_id), max(boat_id)
        FROM (SELECT boat_id, (sum(count(*)) OVER (ORDER BY boat_id) - count(*)) // $lives AS piece
              FROM lives GROUP BY boat_id)
        GROUP BY piece ORDER BY 1"""
    return con.execute(sql, {"lives": lives}).fetchall() or [("", "")]


def read(
    con: duckdb.DuckDBPyConnection, name: str, columns: Sequence[str] = (), *, boats: tuple[str, str] | None = None
) -> pd.DataFrame:
    """Read output table NAME, or some of its columns, in its promised order.

    `boats`: only what is of the boats from the first to the last of a piece (a table of lives, or one with boat_id).
    Raises UsageError where an earlier stage has not been run yet.
    """
    table = OUTPUT_BY_NAME[name]
    needed(con, name)
    names = [c for c in table.column_names if not columns or c in columns]
    if table is LIFE_LOOKS and boats is None:
        from bobstay.looks_frame import looks_frame

        return looks_frame(con, names)
    order = ", ".join(f'"{c}"' for c in table.order)
    texts = ", ".join(f'"{c}"' for c in names)
    where, ends = ("", {}) if boats is None else (_of_boats(table), {"first": boats[0], "last": boats[1]})
    return con.execute(f'SELECT {texts} FROM "{name}" {where} ORDER BY {order}', ends).df()


def _of_boats(table: OutputTable) -> str:
    among = "boat_id BETWEEN $first AND $last"
    if "boat_id" in table.column_names:
        return f"WHERE {among}"
    return f"WHERE life_id IN (SELECT life_id FROM lives WHERE {among})"
