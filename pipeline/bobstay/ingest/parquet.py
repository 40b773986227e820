"""Opens Parquet files: DuckDB reads every column as text; the file's own footer says how many rows there must be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.errors import UnusableDataError
from bobstay.ingest import headers
from bobstay.ingest.preflight import whole_file_sha256
from bobstay.ingest.record import Part, Record, Rules, Scan

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import numpy as np
    import pyarrow as pa

FIRST_LINE = 2  # rows are numbered as in a text file whose header is line 1
BATCH = 50_000


def opened_parquet(path: Path, *, shown: str, rules: Rules) -> Part:
    """Return the file's one part; raises UnusableDataError where it is not Parquet or no table fits."""
    schema, row_count = schema_of(path, shown)
    header = headers.recognised([(1, tuple(schema.names))], shown=shown, table=rules.table)

    def read(wanted: np.ndarray | None = None) -> Iterator[Record]:
        return all_records(path, wanted)

    sha256 = whole_file_sha256(path)
    scan = Scan(_relation(schema), {"path": str(path)}, row_count, FIRST_LINE)
    return Part(path, shown, "-", sha256, "parquet", header, read, scan)


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


def _relation(schema: pa.Schema) -> str:
    cells = ", ".join(f"{_cell(field)} AS c{place}" for place, field in enumerate(schema))
    return f"(SELECT {cells} FROM read_parquet($path))"


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
    """Yield the rows of the file, or those on the `wanted` lines."""
    import numpy as np
    from pyarrow import parquet

    from bobstay.ingest.workbook import as_text

    first = FIRST_LINE
    for batch in parquet.ParquetFile(path).iter_batches(batch_size=BATCH):
        lines = np.arange(first, first + batch.num_rows)
        if wanted is not None:  # of millions of rows only those few are made into objects
            lines = lines[np.isin(lines, wanted)]
        columns = [column.to_pylist() for column in batch.take(lines - first).columns]
        for place, line in enumerate(lines.tolist()):
            yield Record(line, tuple(as_text(column[place]) for column in columns))
        first += batch.num_rows
