"""Parquet is read where it lies, each row when it is asked for: the same tables as from CSV, and no other file's."""

from __future__ import annotations

import os
import random
from datetime import date, timedelta

import numpy as np
import pyarrow as pa
import pytest
from openpyxl import Workbook
from pyarrow import csv, parquet

from bobstay.errors import UnusableDataError
from bobstay.ingest import load
from bobstay.ingest import parquet as by_parquet
from bobstay.ingest.record import Rules
from ingest_files import LIMIT, LOOKS, fleet, take

ODD = {
    "boat_id": ["B1", "B1 ", " B1", "B\t1", "b1", "B9", ""],
    "fitting_id": ["CP1", "CP 1", "CP  1", "CP2\u00a0", ""],
    "inspected_on": ["2012-02-01", "2012-02", "1.2.2012", "12/31/2011", "2099-01-01", "about 2012", "0000-00-00", ""],
    "method": ["penetrant", "Dye penetrant", "visual", "looked", " "],
    "result": ["no_indication", "No Indication", "relevant", "??", ""],
    "surface_cleaned": ["yes", "true", "n", "No", "perhaps", ""],
    "part_temp_c": ["18", "18,5", "1e1", "inf", "x", ""],
    "note": ["plain", "two  spaces", "ünïcode", "a\tb", "", '"'],
}


def _cell(draw: random.Random, column: str) -> str:
    words = ODD[column]
    return words[0] if draw.random() < 0.8 else draw.choice(words)


@pytest.mark.parametrize("seed", range(6))
def test_messy_parquet_gives_the_tables_of_the_same_csv(tmp_path, seed):
    first, draw = fleet(tmp_path)[:2], random.Random(seed)
    columns = {name: [_cell(draw, name) for _ in range(300)] for name in ODD}
    columns["inspection_id"] = [f"L{draw.randrange(250)}" for _ in range(300)]
    table = pa.table({name: pa.array(cells, pa.string()) for name, cells in columns.items()})
    csv.write_csv(table, tmp_path / "looks.csv", csv.WriteOptions(quoting_style="all_valid"))
    nulls = {name: [cell or None for cell in cells] for name, cells in columns.items()}
    parquet.write_table(pa.table(nulls), tmp_path / "looks.parquet", row_group_size=70)

    by_csv = take(tmp_path, [*first, tmp_path / "looks.csv"], store="c.duckdb")
    from_parquet = take(tmp_path, [*first, tmp_path / "looks.parquet"], store="p.duckdb")

    assert len(by_csv.tables["set_aside"]) > 50
    assert len(by_csv.tables["inspections"]) > 50
    assert _told(from_parquet) == _told(by_csv)


def _told(taken):
    aside = [(r["line"], r["reason"], r["column"], r["value"]) for r in taken.tables["set_aside"]]
    unread = [(r["line"], r["column"], r["value"], r["reason"]) for r in taken.tables["cells_unread"]]
    return taken.tables["inspections"], aside, unread


def _typed(tmp_path, count=500, **more):
    days = [date(2012, 1, 1) + timedelta(days=n) for n in range(count)]
    table = pa.table(
        {
            "inspection_id": pa.array(range(count)),
            "boat_id": ["B1"] * count,
            "fitting_id": ["CP1" if n % 3 else None for n in range(count)],
            "inspected_on": pa.array(days, pa.date32()),
            "method": ["penetrant"] * count,
            "result": ["no_indication" if n % 50 else "?" for n in range(count)],
            "part_temp_c": [18.0 if n % 7 else float("nan") for n in range(count)],
            "surface_cleaned": [n % 2 == 0 for n in range(count)],
            **more,
        }
    )
    path = tmp_path / "looks.parquet"
    parquet.write_table(table, path, row_group_size=99)
    return path


def test_few_rows_are_found_as_the_exact_reader_finds_them(tmp_path):
    path = _typed(tmp_path)
    wanted = np.array([2, 3, 100, 101, 499, 501])
    part = by_parquet.opened_parquet(path, shown="looks.parquet", rules=Rules(LIMIT))
    assert list(part.records(wanted)) == list(by_parquet.all_records(path, wanted))
    assert [row.line for row in part.records(wanted)] == wanted.tolist()


def test_typed_cells_need_no_second_reading(tmp_path):
    taken = take(tmp_path, [*fleet(tmp_path)[:2], _typed(tmp_path)])
    looks = taken.tables["inspections"]
    assert [r["line"] for r in taken.tables["set_aside"]] == [2 + n for n in range(0, 500, 50)]
    assert {r["surface_cleaned"] for r in looks} == {True, False}
    assert {r["part_temp_c"] for r in looks} == {18.0, None}
    assert len(looks) == 490


@pytest.mark.parametrize("name", ["file_row_number", "FILE_ROW_NUMBER"])
def test_a_column_named_as_the_engine_names_its_own_is_read_exactly(tmp_path, name):
    path = _typed(tmp_path, **{name: pa.array(range(500))})
    looks = take(tmp_path, [*fleet(tmp_path)[:2], path]).tables["inspections"]
    assert len(looks) == 490
    assert looks[0]["extra"] == f'{{"{name}":"1"}}'


def test_a_table_of_texts_alone_is_read(tmp_path):
    boats, fittings, looks = fleet(tmp_path)
    parquet.write_table(pa.table({"boat_id": ["B1", "B2 "], "boat_name": ["a\tb", None]}), tmp_path / "boats.parquet")
    boats.unlink()
    found = take(tmp_path, [tmp_path / "boats.parquet", fittings, looks]).tables["boats"]
    assert [(r["boat_id"], r["boat_name"]) for r in found] == [("B1", "a b"), ("B2", None)]


def _looks_as(ending, tmp_path):
    path = tmp_path / f"looks.{ending}"
    match ending:
        case "parquet":
            return _typed(tmp_path)
        case "csv":
            path.write_text(LOOKS, encoding="utf-8")
        case "xlsx":
            book = Workbook()
            for row in LOOKS.splitlines():
                book.active.append(row.split(","))
            book.save(path)
    return path


@pytest.mark.parametrize("ending", ["parquet", "csv", "xlsx"])
def test_a_file_written_to_while_it_is_read_is_not_used(tmp_path, monkeypatch, ending):
    path = _looks_as(ending, tmp_path)
    stored = load.store_rows

    def written_to(con, table, file_id, *, matched):
        if table.name == "inspections":
            os.utime(path, ns=(0, 0))
        return stored(con, table, file_id, matched=matched)

    monkeypatch.setattr(load, "store_rows", written_to)
    with pytest.raises(UnusableDataError, match="was written to while it was read"):
        take(tmp_path, [*fleet(tmp_path)[:2], path])
    monkeypatch.undo()
    assert take(tmp_path, [*fleet(tmp_path)[:2], path]).tables["inspections"]
