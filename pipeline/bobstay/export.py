"""Every table of the store as CSV and Parquet, and the manifest that says what made them."""

from __future__ import annotations

import hashlib
import json
import math
import platform
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bobstay import __version__, store
from bobstay.settings import flattened
from bobstay.tables import OUTPUTS, OutputTable

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import date

    import duckdb
    import pyarrow as pa

    from bobstay.settings import Settings

MANIFEST = "manifest.json"
PACKAGES = (
    "numpy",
    "scipy",
    "pandas",
    "pyarrow",
    "duckdb",
    "altair",
    "vl-convert-python",
    "python-calamine",
    "jinja2",
    "typst",
    "xlsxwriter",
    "icalendar",
)
# A spreadsheet runs cells that begin so, wide forms too; a leading apostrophe makes them text (OWASP, CSV injection).
FORMULA_STARTS = r"^[=+\-@\t\r\n＝＋－＠]"


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Yield a name beside `path` to write to; only when all is written does it take the place of `path`.

    A reader, and a machine that stops at any moment, finds the old file or the new one, never half of one.
    """
    beside = path.with_name(f".{path.name}.part")
    try:
        yield beside
        beside.replace(path)
    except OSError as fault:
        beside.unlink(missing_ok=True)
        raise OSError(fault.errno, fault.strerror, str(path)) from fault
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def write_tables(con: duckdb.DuckDBPyConnection, out: Path) -> list[Path]:
    """Write tables/NAME.csv and tables/NAME.parquet for every exported table the store has; return the files."""
    folder = out / "tables"
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for table in OUTPUTS:
        if table.exported and store.has(con, table.name):
            written += write_table(_arrow(con, table), folder / table.name)
    return written


def _arrow(con: duckdb.DuckDBPyConnection, table: OutputTable) -> pa.Table:
    columns = ", ".join(f'"{c}"' for c in table.column_names)
    order = ", ".join(f'"{c}" NULLS LAST' for c in table.order)
    return con.sql(f'SELECT {columns} FROM "{table.name}" ORDER BY {order}').to_arrow_table()


def write_table(rows: pa.Table, stem: Path) -> list[Path]:
    """Write `rows` as STEM.csv and STEM.parquet: the same rows and columns, formulas made harmless in the CSV."""
    import pyarrow.csv
    import pyarrow.parquet

    files = [stem.with_suffix(".csv"), stem.with_suffix(".parquet")]
    with whole(files[0]) as beside:
        pyarrow.csv.write_csv(_harmless(rows), beside, pyarrow.csv.WriteOptions(quoting_style="needed"))
    with whole(files[1]) as beside:
        pyarrow.parquet.write_table(rows, beside, compression="zstd")
    return files


def _harmless(rows: pa.Table) -> pa.Table:
    """Return `rows` with an apostrophe before each text that a spreadsheet would run."""
    import pyarrow as pa
    import pyarrow.compute as pc

    for i, field in enumerate(rows.schema):
        if pa.types.is_string(field.type) or pa.types.is_large_string(field.type):
            marked = pc.replace_substring_regex(rows.column(i), pattern=FORMULA_STARTS, replacement=r"'\0")
            rows = rows.set_column(i, field, marked)
    return rows


def write_manifest(
    con: duckdb.DuckDBPyConnection, out: Path, *, settings: Settings, as_of: date, written: Iterable[Path]
) -> Path:
    """Write manifest.json: inputs and their SHA-256, settings, versions, seed, as-of date, and what was written.

    Files that an earlier run wrote and this one did not (a boat that is gone) are taken away first.
    """
    outputs = {p.relative_to(out).as_posix(): sha256(p) for p in sorted(set(written))}
    _remove_stale(out, set(outputs))
    inputs = store.read(con, "files")[["file", "part", "table", "sha256"]]
    content = {
        "as_of": as_of.isoformat(),
        "seed": settings.estimate.seed,
        "invented": settings.invented,
        "inputs": inputs.to_dict("records"),
        "settings": {k: {"value": plain(v), "from": source} for k, (v, source) in flattened(settings).items()},
        "versions": versions(),
        "outputs": outputs,
    }
    path = out / MANIFEST
    with whole(path) as beside:
        beside.write_text(json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n", encoding="utf-8")
    return path


def _remove_stale(out: Path, kept: set[str]) -> None:
    before = out / MANIFEST
    if not before.is_file():
        return
    root = out.resolve()
    for name in set(json.loads(before.read_text(encoding="utf-8")).get("outputs", {})) - kept:
        path = (out / name).resolve()
        if path.is_relative_to(root) and path.is_file():
            path.unlink()


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def versions() -> dict[str, str]:
    """Return the versions that the outputs depend on."""
    return {"bobstay": __version__, "python": platform.python_version()} | {p: version(p) for p in PACKAGES}


def plain(value: Any) -> Any:
    """Return `value` in a form JSON takes: days as ISO text, infinity as "inf", missing as null."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else (None if math.isnan(value) else str(value))
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
