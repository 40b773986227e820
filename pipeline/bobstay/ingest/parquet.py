"""Opens Parquet files: DuckDB reads every column as text; the file's own footer says how many rows there must be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.errors import UnusableDataError
from bobstay.ingest import headers
from bobstay.ingest.preflight import can_be_named, whole_file_sha256
from bobstay.ingest.record import Part, Record, Rules, Scan
from bobstay.sql_text import quoted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    import numpy as np
    import pyarrow as pa

FIRST_LINE = 2  # rows are numbered as in a text file whose header is line 1
BATCH = 50_000
FEW = 100_000  # rows that are held at once
_LINE = "file_row_number"  # the engine's name for a row's place in the file, from 0; no column may be called so


def opened_parquet(path: Path, *, shown: str, rules: Rules) -> Part:
    """Return the file's one part; raises UnusableDataError where it is not Parquet or no table fits."""
    schema, row_count = schema_of(path, shown)
    header = headers.recognised([(1, tuple(schema.names))], shown=shown, table=rules.table)

    is_plain = _is_plain(path, schema)

    def read(wanted: np.ndarray | None = None) -> Iterator[Record]:
        if wanted is not None and len(wanted) <= FEW and is_plain:
            return _few_records(path, wanted)
        return all_records(path, wanted)

    scan = Scan(_relation(path, schema), {}, row_count, FIRST_LINE, is_read_again=True)
    sha256 = whole_file_sha256(path)
    return Part(path, shown, "-", sha256, "parquet", header, read, scan if _has_room(schema) else None)


def _is_plain(path: Path, schema: pa.Schema) -> bool:
    """Say whether the engine can read the file and would give the same cells as the exact reader."""
    import pyarrow.types as kinds

    same = (kinds.is_string, kinds.is_integer, kinds.is_float64, kinds.is_boolean, kinds.is_date32)
    return can_be_named(path) and _has_room(schema) and all(any(is_it(f.type) for is_it in same) for f in schema)


def _has_room(schema: pa.Schema) -> bool:
    return _LINE not in map(str.casefold, schema.names)


def schema_of(path: Path, shown: str) -> tuple[pa.Schema, int]:
    """Return the columns of the file and how many rows it has; raises UnusableDataError where it is not Parquet."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(path)
        schema, row_count = file.schema_arrow, file.metadata.num_rows
    except (pa.ArrowException, OSError) as fault:
        raise UnusableDataError(
            f"it is not a Parquet file that can be read: {str(fault).splitlines()[0]}",
            where=shown,
            remedy="write it again, or as CSV",
        ) from fault
    return schema, row_count


def _relation(path: Path, schema: pa.Schema) -> str:
    cells = ", ".join(f"{_cell(field)} AS c{place}" for place, field in enumerate(schema))
    line = f"{_LINE} + {FIRST_LINE} AS line"
    return f"(SELECT {cells}, {line} FROM read_parquet({quoted(str(path))}, {_LINE} = true))"


def _cell(field: pa.Field) -> str:
    import pyarrow as pa

    name = '"' + field.name.replace('"', '""') + '"'
    if pa.types.is_floating(field.type):
        # some writers say "not stated" with NaN; a whole number is written without a point, as a sheet shows it (316)
        whole = f"CAST(TRY_CAST({name} AS BIGINT) AS VARCHAR)"
        is_whole = f"{name} = trunc({name}) AND abs({name}) < 1e15"
        return f"CASE WHEN isnan({name}) THEN NULL WHEN {is_whole} THEN {whole} ELSE CAST({name} AS VARCHAR) END"
    return f"CAST({name} AS VARCHAR)"


def all_records(path: Path, wanted: np.ndarray | None) -> Iterator[Record]:
    """Yield the rows of the file, or those on the `wanted` lines (ascending)."""
    import numpy as np
    from pyarrow import parquet

    first = FIRST_LINE
    for batch in parquet.ParquetFile(path).iter_batches(batch_size=BATCH):
        if wanted is None:
            yield from _records(batch, range(first, first + batch.num_rows))
        else:  # of millions of rows only those few are made into objects
            begin, end = np.searchsorted(wanted, [first, first + batch.num_rows])
            yield from _records(batch.take(wanted[begin:end] - first), wanted[begin:end].tolist())
        first += batch.num_rows


def _few_records(path: Path, wanted: np.ndarray) -> Iterator[Record]:
    """Yield the rows on the `wanted` lines: the engine finds few rows of many in a fifth of the time."""
    import duckdb
    import pyarrow as pa

    with duckdb.connect() as con:
        con.register("wanted", pa.table({"line": wanted}))
        found = con.sql(
            f"SELECT f.* FROM read_parquet({quoted(str(path))}, {_LINE} = true) AS f "
            f"JOIN wanted AS w ON f.{_LINE} + {FIRST_LINE} = w.line ORDER BY w.line"
        ).to_arrow_table()
    lines, done = wanted.tolist(), 0
    for batch in found.drop_columns([_LINE]).to_batches(max_chunksize=BATCH):
        yield from _records(batch, lines[done : done + batch.num_rows])
        done += batch.num_rows


def _records(batch: pa.RecordBatch, lines: Sequence[int]) -> Iterator[Record]:
    from bobstay.ingest.workbook import as_text

    columns = [column.to_pylist() for column in batch.columns]
    for line, *cells in zip(lines, *columns, strict=True):
        yield Record(line, tuple(map(as_text, cells)))
