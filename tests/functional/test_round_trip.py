"""Worksheets out, filled in as a yard would, and back in: ranks move as they should, and nothing is lost.

Source: worked out by hand from the README's "Worksheets that come back"; common practice, no publication. The fleet is
estimated the plain way (tests taken at their word), so that a clear look can only lower its own part's chance.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import duckdb
import openpyxl
import pandas as pd
import pytest

from season_fleet import BOATS, PARTS, fleet

SETTINGS = 'as_of = "{}"\n[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\n[rank]\ndraw = 0\n'
AS_OF, BACK = date(2026, 6, 30), date(2026, 10, 31)
DAY = date(2026, 9, 20)


def filled(path: Path, out: Path, answers: dict[str, dict[str, object]], **shared: object) -> Path:
    """Fill in a workbook: `answers` by fitting, `shared` in the line for every line."""
    book = openpyxl.load_workbook(path)
    sheet = book.active
    places = {cell.value: cell.column for cell in sheet[7]}
    rows = {str(sheet.cell(r, places["what"]).value).split()[0]: r for r in range(9, sheet.max_row + 1)}
    for name, value in shared.items():
        sheet.cell(8, places[name]).value = value
    for fitting, told in answers.items():
        for name, value in told.items():
            sheet.cell(rows[fitting], places[name]).value = value
    book.save(out)
    return out


@dataclass(frozen=True)
class Trip:
    """What came back: the store, the answer of the command, and the ranks before and after."""

    folder: Path
    told: dict[str, object]
    changes: pd.DataFrame
    lines: pd.DataFrame


@pytest.fixture(scope="module")
def trip(tmp_path_factory, bobstay) -> Trip:
    folder = tmp_path_factory.mktemp("trip")
    (folder / "out.toml").write_text(SETTINGS.format(AS_OF))
    (folder / "back.toml").write_text(SETTINGS.format(BACK))
    done = bobstay("run", *fleet(folder), "--settings", "out.toml", "--out", "out", cwd=folder)
    assert done.code == 0, done.err
    lines = pd.read_csv(folder / "out" / "tables" / "worksheet_lines.csv")
    sheets = folder / "out" / "worksheets"
    clear = {"result": "no indication", "method": "eddy current", "scope": "taken off"}
    filled(
        sheets / "B01.xlsx",
        folder / "B01.xlsx",
        {"CP1": clear, "CP2": {"result": "relevant indication", "method": "eddy current", "indication_length_mm": 4}},
        inspected_on=DAY,
        inspector="yard hand",
    )
    filled(
        sheets / "B02.xlsx",
        folder / "B02.xlsx",
        {
            "CP1": {"result": "no indication"},
            "CP2": {"result": "all fine", "method": "visual"},
            "CP3": {"scope": "taken off", "part_temp_c": 12},
        },
        inspected_on=DAY,
    )
    filled(sheets / "B11.xlsx", folder / "B11.xlsx", {"CP1": clear | {"inspected_on": DAY}})
    back = [folder / f"{boat}.xlsx" for boat in ("B01", "B02", "B11")]
    done = bobstay("ingest", *back, "--settings", "back.toml", "--out", "out", "--json", cwd=folder)
    assert done.code == 0, done.err
    with duckdb.connect(str(folder / "out" / "bobstay.duckdb"), read_only=True) as con:
        changes = con.execute("SELECT * FROM rank_changes").df().set_index(["boat_id", "fitting_id"])
    return Trip(folder, json.loads(done.out), changes, lines)


def test_every_part_of_these_boats_stood_on_its_sheet(trip):
    """Else the answers below would have nowhere to stand."""
    listed = set(zip(trip.lines["boat_id"], trip.lines["fitting_id"], strict=True))
    wanted = {("B01", "CP1"), ("B01", "CP2"), ("B02", "CP1"), ("B02", "CP2"), ("B02", "CP3"), ("B11", "CP1")}
    assert wanted <= listed


def test_no_row_is_lost(trip):
    read = {f["file"]: (f["rows_read"], f["rows_used"], f["rows_set_aside"]) for f in trip.told["files"]}
    listed = trip.lines.groupby("boat_id").size()
    assert {file: r for file, (r, _, _) in read.items()} == {f"{b}.xlsx": listed[b] for b in ("B01", "B02", "B11")}
    assert all(r == used + aside for r, used, aside in read.values())
    assert read["B02.xlsx"][2] == 3


def test_lines_wrongly_filled_are_told_at_once_with_the_way_to_mend_them(trip, bobstay):
    with duckdb.connect(str(trip.folder / "out" / "bobstay.duckdb"), read_only=True) as con:
        aside = con.execute("SELECT reason FROM set_aside ORDER BY line").fetchall()
    assert [reason for (reason,) in aside] == [
        "a result without a method",
        "unknown word in result",
        "half filled: no result",
    ]


def test_a_clear_look_lowers_its_part_and_a_finding_raises_it(trip):
    clear, found = trip.changes.loc[("B01", "CP1")], trip.changes.loc[("B01", "CP2")]
    assert clear["chance_after"] < clear["chance_before"]
    assert clear["rank_after"] > clear["rank_before"]
    assert found["action_after"] == "act_now"
    assert found["rank_after"] == 1
    assert clear["is_answered"]
    assert found["is_answered"]
    assert "eddy current" in found["why"]
    assert str(DAY) in found["why"]


def test_a_part_that_nobody_had_looked_at_changes_lists(trip):
    looked, not_looked = trip.changes.loc[("B11", "CP1")], trip.changes.loc[("B11", "CP2")]
    assert (looked["list_before"], looked["list_after"]) == ("nobody_looked", "evidence")
    assert (not_looked["list_before"], not_looked["list_after"]) == ("nobody_looked", "nobody_looked")


def test_lines_left_empty_or_set_aside_tell_nothing(trip):
    """Two parts of one age and history, one left empty on a sheet that came back and one on a sheet that did not."""
    with duckdb.connect(str(trip.folder / "out" / "bobstay.duckdb"), read_only=True) as con:
        looks = con.execute(
            "SELECT boat_id, fitting_id, result, inspected_on FROM inspections "
            "WHERE starts_with(inspection_id, 'sheet ') ORDER BY ALL"
        ).fetchall()
    day = DAY.isoformat()
    on_sheets = trip.lines[trip.lines["boat_id"].isin(["B01", "B11"])]
    told = {("B01", "CP1"): "no_indication", ("B01", "CP2"): "relevant", ("B11", "CP1"): "no_indication"}
    keys = sorted(zip(on_sheets["boat_id"], on_sheets["fitting_id"], strict=True))
    assert looks == [(b, f, told.get((b, f), "not_inspected"), day) for b, f in keys]
    assert trip.changes.loc[("B02", "CP1"), "list_after"] == trip.changes.loc[("B02", "CP1"), "list_before"]
    assert not trip.changes.loc[("B02", "CP1"), "is_answered"]


def test_before_and_after_of_every_rank_are_told(trip):
    told = {(r["boat_id"], r["fitting_id"]): r for r in trip.told["rank_changes"]}
    assert len(told) == len(trip.changes) == BOATS * PARTS
    assert told["B01", "CP2"]["rank_before"] == trip.changes.loc[("B01", "CP2"), "rank_before"]


def test_the_same_sheets_again_add_nothing_and_move_nothing(trip, bobstay):
    store = trip.folder / "out" / "bobstay.duckdb"
    done = bobstay("ingest", "B01.xlsx", "B11.xlsx", "--settings", "back.toml", "--out", "out", cwd=trip.folder)
    assert done.code == 0, done.err
    assert "already in the store, nothing added" in done.out
    with duckdb.connect(str(store), read_only=True) as con:
        again = con.execute("SELECT * FROM rank_changes").df().set_index(["boat_id", "fitting_id"])
    pd.testing.assert_frame_equal(again.sort_index(), trip.changes.sort_index())
