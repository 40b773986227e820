"""The table of looks read with shared texts: the same frame as the engine's own, however it is cut into pieces."""

from __future__ import annotations

import duckdb
import pandas as pd
import pytest

from bobstay import looks_frame, store
from bobstay.tables import LIFE_LOOKS

NULLABLE = {c.name for c in LIFE_LOOKS.columns if c.nullable}
ORDER = ", ".join(f'"{name}"' for name in LIFE_LOOKS.order)


def _filled(con: duckdb.DuckDBPyConnection, rows: int) -> None:
    """Make life_looks of invented rows; every other cell that may be empty is."""
    made = {
        "text": "CASE WHEN i % 2 = 0 OR {must} THEN concat('word ', i % 7) END",
        "integer": "i",
        "number": "i / 3",
        "date": "DATE '2011-01-01' + CAST(i AS INTEGER)",
    }
    cells = [f'{made[c.dtype].format(must=not c.nullable)} AS "{c.name}"' for c in LIFE_LOOKS.columns]
    con.execute(f"CREATE TABLE life_looks AS SELECT {', '.join(cells)} FROM range({rows}) AS r(i)")


@pytest.mark.parametrize("rows", [0, 1, 2, 50])
@pytest.mark.parametrize("at_once", [7, 100_000])
def test_looks_are_read_as_the_engine_reads_them(rows: int, at_once: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Source: DuckDB's `.df()` of the same SELECT; cells without a text are None in both."""
    monkeypatch.setattr(looks_frame, "_ROWS_AT_ONCE", at_once)
    columns = ", ".join(f'"{name}"' for name in LIFE_LOOKS.column_names)
    with duckdb.connect() as con:
        _filled(con, rows)
        ours = store.read(con, "life_looks")
        theirs = con.execute(f"SELECT {columns} FROM life_looks ORDER BY {ORDER}").df()
    pd.testing.assert_frame_equal(ours, theirs, check_exact=True)
    assert len(ours) == rows
    for name in ours:
        assert ours[name].to_numpy().flags.writeable == theirs[name].to_numpy().flags.writeable
    for name in NULLABLE:
        assert [type(cell) for cell in ours[name]] == [type(cell) for cell in theirs[name]]


def test_equal_texts_are_held_once() -> None:
    """Seven words in a thousand cells are seven objects, of columns held as objects (identity)."""
    with duckdb.connect() as con:
        _filled(con, 1000)
        looks = store.read(con, "life_looks")
    if looks["method"].dtype != object:
        pytest.skip("this pandas packs texts by itself")
    assert len({id(cell) for cell in looks["method"]}) == 7


def test_some_columns_are_those_of_the_whole() -> None:
    """Asking for a few columns changes neither their cells nor their order (against the whole table)."""
    with duckdb.connect() as con:
        _filled(con, 100)
        whole = store.read(con, "life_looks")
        some = store.read(con, "life_looks", ["trigger", "life_id", "look_on"])
    pd.testing.assert_frame_equal(some, whole[["life_id", "look_on", "trigger"]], check_exact=True)
