"""What is handed to the engine is let go when it has been read, and not only at the end of the transaction."""

from __future__ import annotations

import duckdb
import pandas as pd
import pyarrow as pa

from bobstay import store

ROWS = 200_000


def test_rows_that_were_read_are_let_go_within_the_transaction():
    with duckdb.connect() as con:
        con.begin()
        before = pa.total_allocated_bytes()
        for turn in range(4):
            rows = pa.table({"x": pa.array(range(turn, turn + ROWS), pa.int64())})
            size = rows.nbytes
            with store.handed_over(con, "batch", rows):
                del rows
                con.execute(f"CREATE OR REPLACE TABLE t{turn} AS SELECT * FROM batch")
            assert pa.total_allocated_bytes() - before < size
        found = [con.execute(f"SELECT count(*), min(x) FROM t{turn}").fetchall() for turn in range(4)]
        assert found == [[(ROWS, turn)] for turn in range(4)]
        con.commit()


def test_a_table_is_written_in_parts_as_at_once():
    table = store.OUTPUT_BY_NAME["detection"]
    columns = {c.name: [1.0] if c.dtype == "number" else [1] for c in table.columns if c.dtype != "text"}
    parts = [pd.DataFrame(columns | {c.name: [f"{c.name} {n}"] for c in table.columns if c.dtype == "text"})
             for n in (1, 2)]  # fmt: skip
    with duckdb.connect() as con:
        store.write_parts(con, table, parts)
        first = store.read(con, "detection")
        store.write(con, table, pd.concat(parts, ignore_index=True))
        pd.testing.assert_frame_equal(first, store.read(con, "detection"), check_exact=True)
        assert len(first) == 2
