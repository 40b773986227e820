"""Lives by local Spark are those of our engine row for row: the documented way beyond one machine.

Optional: `pip install -e '.[dev,spark]'` and Java 17 or newer on the path; skipped without them.
"""

from __future__ import annotations

import random
import shutil
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING

import duckdb
import pytest

from bobstay import lives
from bobstay.settings import Settings
from bobstay.store import query
from drawn_fleet import filled, rows_of
from lives_fleets import fleet_of_one

if TYPE_CHECKING:
    from collections.abc import Iterator

pytest.importorskip("sqlglot", reason="needs sqlglot: install the extra spark")
pyspark = pytest.importorskip("pyspark.sql", reason="needs pyspark: install the extra spark")
pytestmark = pytest.mark.skipif(shutil.which("java") is None, reason="needs Java on the path")

SOURCES = ("boats", "fittings", "inspections", "events", "files", "words_merged", "method_ranks")
# a part that went from boat to boat and back, which the random fleets lack
MOVED = """
boat_id | fitting_id | fitting_type | material | installed | removed | moved_from_boat_id | moved_from_fitting_id
B000 | P | toggle | 316 | 2005-03-01 | 2008-05-01 | |
B001 | Q | toggle | 316 | 2008-05-01 | 2010-05-01 | B000 | P
B002 | R | toggle | 316 | 2010-05-01 | 2012-06-01 | B001 | Q
B003 | S | toggle | 316 | 2012-06-01 |            | B002 | R"""


@contextmanager
def _spark() -> Iterator[pyspark.SparkSession]:
    plain = {
        "spark.sql.shuffle.partitions": "2",
        "spark.ui.enabled": "false",
        "spark.sql.session.timeZone": "UTC",
        "spark.driver.bindAddress": "127.0.0.1",
        "spark.driver.host": "127.0.0.1",
    }
    builder = pyspark.SparkSession.builder.master("local[2]")
    for key, value in plain.items():
        builder = builder.config(key, value)
    session = builder.getOrCreate()
    try:
        yield session
    finally:
        session.stop()


def _schema(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    told = "SELECT table_name, column_name, data_type FROM information_schema.columns"
    for name, column, kind in con.execute(told).fetchall():
        found.setdefault(name, {})[column] = kind
    return found


def _rows(table) -> list[tuple[object, ...]]:
    names = sorted(table.column_names)
    return sorted((tuple(row[n] for n in names) for row in table.to_pylist()), key=repr)


@pytest.mark.parametrize("as_of", [date(2020, 1, 1), date(2012, 3, 5)])
def test_every_step_of_lives_is_the_same_by_spark(as_of: date) -> None:
    """150 random fleets of one boat and a part that was moved three times; every table on the way is compared."""
    from lives_on_spark import in_spark

    fleets = [fleet_of_one(random.Random(n), n) for n in range(150)]
    tables = {name: [row for fleet in fleets for row in fleet[name]] for name in fleets[0]}
    tables["fittings"] += rows_of(MOVED)
    with duckdb.connect(config={"threads": 1}) as con, _spark() as spark:
        filled(con, **tables)
        lives._build_all(con, as_of, Settings(), kept=frozenset())
        schema = _schema(con)
        for name in SOURCES:
            spark.createDataFrame(con.sql(f'FROM "{name}"').to_arrow_table()).createOrReplaceTempView(name)
        for name in lives._STEPS:
            made = spark.sql(in_spark(query(name), schema, as_of=as_of)).toArrow()
            spark.createDataFrame(made).createOrReplaceTempView(name)
            ours = con.sql(f'FROM "{name}"').to_arrow_table()
            assert ours.num_rows > 0, name
            assert sorted(made.column_names) == sorted(ours.column_names), name
            assert _rows(made) == _rows(ours), name
