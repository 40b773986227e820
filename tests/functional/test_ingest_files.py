"""Files in, store out: what is used, what is set aside and why, and that nothing is half stored."""

from __future__ import annotations

import json
import zipfile
from datetime import date

import duckdb
import openpyxl
import pyarrow as pa
import pytest
from pyarrow import parquet

from bobstay.errors import UnusableDataError, UsageError
from bobstay.ingest import ingest, lines, unpacking
from bobstay.store import has, opened
from ingest_files import BOATS, FITTINGS, LIMIT, LOOKS, fleet, row, take, write


def test_a_clean_fleet_is_all_used(tmp_path):
    taken = take(tmp_path, fleet(tmp_path))
    assert [(f.file, f.table, f.rows_read, f.rows_used, f.rows_set_aside) for f in taken.report.files] == [
        ("boats.csv", "boats", 2, 2, 0),
        ("fittings.csv", "fittings", 3, 3, 0),
        ("looks.csv", "inspections", 3, 3, 0),
    ]
    assert taken.report.rows_read == 8
    assert taken.report.rows_set_aside == 0
    assert not taken.said


def test_cells_are_stored_by_their_kind(tmp_path):
    tables = take(tmp_path, fleet(tmp_path)).tables
    ness = tables["boats"][1]
    assert (ness["boat_name"], ness["built"]) == ("Ness, the second", "1999-04")
    assert (ness["built_earliest"], ness["built_latest"]) == (date(1999, 4, 1), date(1999, 4, 30))
    assert (ness["joined"], ness["joined_earliest"], ness["joined_latest"]) == (None, None, None)
    rough = tables["fittings"][1]
    assert (rough["installed_earliest"], rough["installed_latest"]) == (date(2008, 1, 1), date(2010, 12, 31))
    assert (tables["fittings"][0]["consequence"], rough["consequence"]) == (4, None)
    look = tables["inspections"][0]
    assert (look["part_temp_c"], look["cells_unread"], look["extra"], look["line"]) == (18.0, None, None, 2)


WORDS = """inspection_id,boat_id,fitting_id,inspected_on,method,result,scope,surface_cleaned
1,B1,CP1,2012-02-01,Fluorescent  Penetrant,NO-INDICATION,In place,YES
2,B1,CP1,2013-02-01,EDDY_CURRENT,Non relevant,removed,n
"""


def test_words_are_matched_without_regard_to_case_spaces_and_hyphens(tmp_path):
    looks = take(tmp_path, fleet(tmp_path, looks_csv=WORDS)).tables["inspections"]
    assert [(r["method"], r["result"], r["scope"], r["surface_cleaned"]) for r in looks] == [
        ("fluorescent_penetrant", "no_indication", "in_place", True),
        ("eddy_current", "non_relevant", "removed", False),
    ]


def test_ids_are_trimmed_and_inner_white_space_collapsed(tmp_path):
    boats = 'boat_id,boat_name\n"  B 1 ","A\u00a0 \tb"\n'
    fittings = "boat_id,fitting_id,fitting_type,material\nB  1, CP1,  Chain  Plate ,316\n"
    looks = "boat_id,fitting_id,inspected_on,method,result\nB 1,CP1 ,2012-02-01,visual,relevant\n"
    tables = take(tmp_path, fleet(tmp_path, boats_csv=boats, fittings_csv=fittings, looks_csv=looks)).tables
    assert (tables["boats"][0]["boat_id"], tables["boats"][0]["boat_name"]) == ("B 1", "A b")
    assert tables["fittings"][0]["fitting_type"] == "Chain Plate"
    assert tables["inspections"][0]["fitting_id"] == "CP1"


def test_extra_columns_are_kept_as_they_came(tmp_path):
    boats = 'boat_id,Sail No.,,boat_name\nB1, 12 ,x,Sallow\nB2,,,"q"\n'
    tables = take(tmp_path, fleet(tmp_path, boats_csv=boats)).tables["boats"]
    assert json.loads(tables[0]["extra"]) == {"Sail No.": " 12 ", "column_3": "x"}
    assert tables[1]["extra"] is None


# One look a row: what is wrong with it -> (column, reason). All but the last kind stand in one file.
ROW_FAULTS = {
    "X1,,CP1,2012-02-01,visual,relevant,": ("boat_id", "boat_id is empty"),
    "X2,B1,CP1,,visual,relevant,": ("inspected_on", "inspected_on is empty"),
    "X3,B1,CP1,2012-02-01,,relevant,": ("method", "method is empty"),
    "X4,B1,CP1,2012-02-01,visual, ,": ("result", "result is empty"),
    "X5,B1,CP1,2012-02-01,visual,looks fine,": ("result", "unknown word in result"),
    "X6,B1,CP1,2012-02-01,hammer,relevant,": ("method", "unknown word in method"),
    "X7,B1,CP1,2019-02-30,visual,relevant,": ("inspected_on", "there is no such day"),
    "X8,B1,CP1,3/4/19,visual,relevant,": ("inspected_on", "day and month cannot be told apart"),
    "X9,B1,CP1,2027-01-11,visual,relevant,": ("inspected_on", "the day lies in the future"),
    "X10,B1,CP1,2031,visual,relevant,": ("inspected_on", "the day lies in the future"),
    "X11,B9,CP1,2012-02-01,visual,relevant,": ("boat_id", "boat_id is not in boats"),
    "X12,B1,KB1,2012-02-01,visual,relevant,": ("fitting_id", "fitting_id is not in fittings for this boat"),
    "X13,B1,CP1,2005-02-28,visual,relevant,": ("inspected_on", "looked at before it was installed"),
    "X14,B2,KB1,1999-03-31,visual,relevant,": ("inspected_on", "looked at before it was installed"),
    "X15,B2,KB1,2020-11-01,visual,relevant,": ("inspected_on", "looked at after the boat had left"),
    "L1,B1,CP1,2013-02-01,visual,relevant,": (
        "inspection_id",
        "the same inspection_id stands earlier, with other cells",
    ),
    "L1,B1,CP1,2012-02-01,penetrant,no_indication,18": (None, "the same row stands earlier"),
    ",,,,,,": ("boat_id", "boat_id is empty"),
}
SHAPE_FAULTS = {
    "X,B1,CP1,2012-02-01,visual,relevant": (None, "wrong number of cells"),
    "X,B1,CP1,2012-02-01,visual,relevant,,": (None, "wrong number of cells"),
    "X,B1,CP1,2012-02-01,visual,relevant,18,5": (None, "wrong number of cells"),
    '"X,B1,CP1,2012-02-01,visual,relevant,': (None, "a quote is opened and never closed"),
    "X,B1,CP\x001,2012-02-01,visual,relevant,": (None, "a NUL byte stands in the row"),
}


def _check_set_aside(folder, bad):
    """Put the `bad` rows between the good ones L1 and L3; see that each is set aside as it came, and no other."""
    first, one, _, three = LOOKS.splitlines()
    taken = take(folder, fleet(folder, looks_csv="\n".join([first, one, *bad, three, ""])))
    expected = [("looks.csv", line, *fault) for line, fault in enumerate(bad.values(), start=3)]
    assert taken.reasons() == expected
    assert [r["line"] for r in taken.tables["inspections"]] == [2, len(bad) + 3]
    for aside, text in zip(taken.tables["set_aside"], bad, strict=True):
        assert aside["hint"]
        cells = json.loads(aside["row_json"])
        if isinstance(cells, dict):
            assert list(cells) == first.split(",")
            assert [c or "" for c in cells.values()] == text.split(",")
            assert aside["column"] is None or aside["value"] == cells[aside["column"]]


def test_rows_that_cannot_be_used_are_set_aside_with_their_reasons(tmp_path):
    _check_set_aside(tmp_path, ROW_FAULTS)


@pytest.mark.parametrize("bad", SHAPE_FAULTS)
def test_a_row_of_the_wrong_shape_is_set_aside_alone(tmp_path, bad):
    _check_set_aside(tmp_path, {bad: SHAPE_FAULTS[bad]})


def test_faults_of_both_kinds_keep_their_lines(tmp_path):
    _check_set_aside(tmp_path, {**SHAPE_FAULTS, **ROW_FAULTS})


def test_bounds_of_rough_days_give_a_look_the_benefit_of_the_doubt(tmp_path):
    looks = (
        "boat_id,fitting_id,inspected_on,method,result\n"
        "B1,CP1,2005,visual,relevant\n"  # may lie after the installation
        "B1,CP2,2008-01-01,visual,relevant\n"  # the earliest day of 2009~
        "B2,KB1,2020,visual,relevant\n"  # may lie before the boat left
        "B2,,1999-04-01,visual,relevant\n"
    )
    assert take(tmp_path, fleet(tmp_path, looks_csv=looks)).reasons() == []


def test_repeats_name_the_file_and_line_of_the_first(tmp_path):
    more = "inspection_id,boat_id,fitting_id,inspected_on,method,result\nL2,B1,CP2,2014-02-01,visual,relevant\n"
    taken = take(tmp_path, fleet(tmp_path, more_csv=more))
    (aside,) = taken.tables["set_aside"]
    assert (aside["file"], aside["line"], aside["value"]) == ("more.csv", 2, "L2")
    assert "looks.csv:3" in aside["hint"]


def test_looks_without_an_id_repeat_only_when_all_cells_agree(tmp_path):
    looks = (
        "boat_id,fitting_id,inspected_on,method,result,note\n"
        "B1,CP1,2012-02-01,visual,relevant,a\n"
        "B1,CP1,2012-02-01,visual,relevant,b\n"
        "B1, CP1,2012-02-01,Visual,relevant,a\n"
    )
    assert take(tmp_path, fleet(tmp_path, looks_csv=looks)).reasons() == [
        ("looks.csv", 4, None, "the same row stands earlier")
    ]


def test_a_bad_first_row_does_not_make_the_good_second_a_repeat(tmp_path):
    looks = LOOKS.replace("L1,B1,CP1,2012-02-01,penetrant", "L1,B1,CP1,2012-02-30,penetrant") + LOOKS.splitlines()[1]
    taken = take(tmp_path, fleet(tmp_path, looks_csv=looks))
    assert taken.reasons() == [("looks.csv", 2, "inspected_on", "there is no such day")]
    assert sorted(r["inspection_id"] for r in taken.tables["inspections"]) == ["L1", "L2", "L3"]


def test_rows_of_a_boat_set_aside_point_at_her_row(tmp_path):
    boats = "boat_id,built\nB1,2001\nB2,2019-02-30\n"
    taken = take(tmp_path, fleet(tmp_path, boats_csv=boats))
    hints = {(r["file"], r["line"]): r["hint"] for r in taken.tables["set_aside"]}
    assert hints["fittings.csv", 4] == "its row in boats was set aside: mend boats.csv:3"
    assert hints["looks.csv", 4] == "its row in boats was set aside: mend boats.csv:3"


def test_an_id_that_looks_like_a_known_one_is_pointed_at_it(tmp_path):
    looks = (
        "boat_id,fitting_id,inspected_on,method,result\n"
        "b-01,CP1,2012-02-01,visual,relevant\n"
        "B1,CPl,2012-02-01,visual,relevant\n"
        "B3,CP1,2012-02-01,visual,relevant\n"
        "B1,CP1,2012-02-01,visual,relevant\n"
    )
    hints = [r["hint"] for r in take(tmp_path, fleet(tmp_path, looks_csv=looks)).tables["set_aside"]]
    assert hints[0].startswith("did you mean B1? ")
    assert hints[1].startswith("did you mean CP1? ")
    assert "did you mean" not in hints[2]  # B3 may well be another boat


FITTING_FAULTS = {
    "B1,X,chainplate,316,2010-01-01,2009-12-31,": ("removed", "removed before installed"),
    "B1,X,chainplate,316,2010-01-01,soon,": ("removed", "not a day that can be read"),
    "B1,X,,316,,,": ("fitting_type", "fitting_type is empty"),
    "B1,X,chainplate,,,,": ("material", "material is empty"),
    "B7,X,chainplate,316,,,": ("boat_id", "boat_id is not in boats"),
    "B1,X,chainplate,316,2030-01-01,,": ("installed", "the day lies in the future"),
    "B1,CP1,chainplate,316 stainless,2005-03-01,,4": (None, "the same row stands earlier"),
}


def test_fittings_that_cannot_be_used_are_set_aside(tmp_path):
    taken = take(tmp_path, fleet(tmp_path, fittings_csv=FITTINGS + "\n".join([*FITTING_FAULTS, ""])))
    assert taken.reasons() == [
        ("fittings.csv", line, *fault) for line, fault in enumerate(FITTING_FAULTS.values(), start=5)
    ]


OTHER_FAULTS = [
    (
        "boat_id,joined,left\nB1,,\nB2,,\nB3,2010-01-01,2009-01-01\n",
        ("boats.csv", 4, "left", "left lies before joined"),
    ),
    (
        "boat_id,boat_name\nB1,\nB2,\nB1,x\n",
        ("boats.csv", 4, "boat_id", "the same boat_id stands earlier, with other cells"),
    ),
    ("boat_id,happened_on,kind\nB1,2012,bump\n", ("o.csv", 2, "kind", "unknown word in kind")),
    ("boat_id,happened_on,kind\nB7,2012,lightning\n", ("o.csv", 2, "boat_id", "boat_id is not in boats")),
    ("boat_id,from,to\nB1,2027-05-01,2027-04-01\n", ("o.csv", 2, "to", "to lies before from")),
    ("slot_id,starts_on,boats_max\nS,2027-02-01,many\n", ("o.csv", 2, "boats_max", "not a whole number")),
    ("slot_id,starts_on,boats_max\nS,2027-02-01,-1\n", ("o.csv", 2, "boats_max", "boats_max is out of range")),
    (
        "access,fitting_type,action,cost\n,chainplate,,5\n",
        ("o.csv", 2, "access", "the row says neither an access nor a fitting_type with an action"),
    ),
    ("access,cost\nafloat,\n", ("o.csv", 2, "cost", "neither cost nor hours is stated")),
]


@pytest.mark.parametrize(("text", "expected"), OTHER_FAULTS)
def test_rows_of_other_tables_are_set_aside(tmp_path, text, expected):
    name = "boats_csv" if expected[0] == "boats.csv" else "o_csv"
    assert take(tmp_path, fleet(tmp_path, **{name: text})).reasons() == [expected]


def test_slots_and_availability_may_lie_ahead(tmp_path):
    slots = "slot_id,starts_on,boats_max,hours_max,access\nS,2027-02-01,2,10.5,Mast out; hauled ;hauled\n"
    free = "boat_id,from,to\nB1,2027-03-01,2028\n"
    tables = take(tmp_path, fleet(tmp_path, slots_csv=slots, free_csv=free)).tables
    assert tables["slots"][0]["access"] == "mast_out;hauled"
    assert (tables["slots"][0]["boats_max"], tables["slots"][0]["hours_max"]) == (2, 10.5)
    assert tables["availability"][0]["to_latest"] == date(2028, 12, 31)
    assert not tables["set_aside"]


CELLS = [
    ("part_temp_c", "18,5", "not a number"),
    ("part_temp_c", "cold", "not a number"),
    ("part_temp_c", "1_8", "not a number"),
    ("part_temp_c", "inf", "not a number"),
    ("part_temp_c", "400", "part_temp_c is out of range"),
    ("surface_cleaned", "maybe", "neither yes nor no"),
    ("scope", "half off", "unknown word in scope"),
    ("disposition", "ok", "unknown word in disposition"),
]


def test_optional_cells_that_cannot_be_read_never_cost_an_indication(tmp_path):
    names = ["part_temp_c", "surface_cleaned", "scope", "disposition"]
    rows = [
        ",".join(
            ["B1,CP1,2012-02-01,visual,relevant", *(f'"{value}"' if n == name else "" for n in names), str(number)]
        )
        for number, (name, value, _) in enumerate(CELLS)
    ]
    looks = "\n".join([f"boat_id,fitting_id,inspected_on,method,result,{','.join(names)},note", *rows, ""])
    taken = take(tmp_path, fleet(tmp_path, looks_csv=looks))
    assert [(r["result"], r["cells_unread"]) for r in taken.tables["inspections"]] == [
        ("relevant", name) for name, _, _ in CELLS
    ]
    assert all(r[name] is None for r in taken.tables["inspections"] for name in names)
    assert [(c["line"], c["column"], c["value"], c["reason"]) for c in taken.tables["cells_unread"]] == [
        (line, *cell) for line, cell in enumerate(CELLS, start=2)
    ]
    assert taken.report.files[2].cells_unread == len(CELLS)


def test_unread_cells_of_a_row_set_aside_are_not_told_twice(tmp_path):
    looks = f"{LOOKS}L4,B9,CP1,2012-02-01,visual,relevant,cold\n"
    assert take(tmp_path, fleet(tmp_path, looks_csv=looks)).tables["cells_unread"] == []


def test_several_unread_cells_are_all_named(tmp_path):
    looks = "boat_id,inspected_on,method,result,scope,part_temp_c\nB1,2012-02-01,visual,relevant,here,cold\n"
    taken = take(tmp_path, fleet(tmp_path, looks_csv=looks))
    assert sorted(taken.tables["inspections"][0]["cells_unread"].split(";")) == ["part_temp_c", "scope"]


def test_whole_numbers_are_never_rounded(tmp_path):
    values = {"4": 4, "4.0": 4, "4.5": None, "6": None, "1e0": 1, " 2 ": 2, "2.0000001": None}
    rows = [f"B1,P{number},c,m,{text}" for number, text in enumerate(values)]
    fittings = "\n".join(["boat_id,fitting_id,fitting_type,material,consequence", *rows, "B1,CP1,c,m,", ""])
    taken = take(tmp_path, fleet(tmp_path, fittings_csv=fittings))
    assert [f["consequence"] for f in taken.tables["fittings"]] == [*values.values(), None]


@pytest.mark.parametrize(("dates", "day"), [("dmy", date(2019, 4, 3)), ("mdy", date(2019, 3, 4))])
def test_declared_dates_are_read(tmp_path, dates, day):
    looks = "boat_id,fitting_id,inspected_on,method,result\nB1,CP1,3/4/19,visual,relevant\n"
    taken = take(tmp_path, fleet(tmp_path, looks_csv=looks), dates=dates)
    assert taken.tables["inspections"][0]["inspected_on_latest"] == day
    assert taken.tables["inspections"][0]["inspected_on"] == "3/4/19"


# Whole files that cannot be used: the file that replaces looks.csv -> what the error must name.
UNUSABLE = {
    "empty": (b"", "there is nothing in it"),
    "only white space": (b"\n \n", "there is nothing in it"),
    "header only": (LOOKS.splitlines()[0].encode(), "there is nothing in it"),
    "all missing columns": (b"boat_id,fitting_id,inspected_on\nB1,CP1,2012\n", "which also needs: method, result"),
    "broken fittings, not boats": (b"boat_id,fitting_id,material\nB1,CP1,316\n", "which also needs: fitting_type"),
    "unknown columns": (b"a,b\n1,2\n", "no column has a name that is known"),
    "no header": (b"B1,CP1,2012-02-01,visual,relevant\n", "no column has a name that is known"),
    "repeated names": (LOOKS.replace("part_temp_c", "Method").encode(), "column names stand more than once: Method"),
    "prices without a price": (b"access,fitting_type\nafloat,x\n", "prices, which also needs: cost or hours"),
    "no usable row": (LOOKS.replace(",B", ",Z").encode(), "commonest reason: boat_id is not in boats (3 rows)"),
}  # fmt: skip


@pytest.mark.parametrize("name", UNUSABLE)
def test_one_unusable_file_and_nothing_is_stored(tmp_path, name):
    content, what = UNUSABLE[name]
    paths = fleet(tmp_path, looks_csv=content)
    with opened(tmp_path / "s.duckdb", folders=[tmp_path], create=True) as con:
        with pytest.raises(UnusableDataError) as fault:
            ingest(con, paths, limit=LIMIT)
        assert what in fault.value.what
        assert fault.value.where.startswith("looks.csv")
        assert fault.value.exit_code == 3
        assert len(fault.value.lines()) == 3
        assert not any(has(con, t) for t in ("boats", "fittings", "inspections", "files", "set_aside"))


def test_a_later_unusable_file_leaves_the_store_as_it_was(tmp_path):
    before = take(tmp_path, fleet(tmp_path)).tables
    good = "inspection_id,boat_id,fitting_id,inspected_on,method,result\nN1,B1,CP1,2014-02-01,visual,relevant\n"
    paths = write(
        tmp_path, more_csv=good, bad_csv="boat_id,inspected_on\nB1,2012\n", slots_csv="slot_id,starts_on,boats_max\n"
    )
    with pytest.raises(UnusableDataError):
        take(tmp_path, paths)
    assert take(tmp_path, fleet(tmp_path)).tables == before


def test_a_fault_in_the_middle_rolls_everything_back(tmp_path, monkeypatch):
    before = take(tmp_path, fleet(tmp_path)).tables
    from bobstay.ingest import load

    more = "inspection_id,boat_id,fitting_id,inspected_on,method,result\nN1,B1,CP1,2014-02-01,visual,relevant\n"
    paths = write(tmp_path, more_csv=more)

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(load, "store_set_aside", interrupted)
        with pytest.raises(KeyboardInterrupt):
            take(tmp_path, paths)
    assert take(tmp_path, fleet(tmp_path)).tables == before


def test_a_lost_row_is_noticed(tmp_path, monkeypatch):
    """The count of the bytes, not DuckDB's, is what rows used and set aside must add up to."""
    from bobstay.errors import BobstayError
    from bobstay.ingest import load

    real = load.store_rows
    monkeypatch.setattr(load, "store_rows", lambda *given, **named: real(*given, **named) - 1)
    with pytest.raises(BobstayError, match="2 rows were found, but 1 used and 0 set aside") as fault:
        take(tmp_path, fleet(tmp_path))
    assert fault.value.exit_code == 1


@pytest.mark.parametrize("missing", [["gone.csv"], ["gone.csv", "lost.xlsx"]])
def test_missing_files_are_all_named(tmp_path, missing):
    with pytest.raises(UsageError) as fault:
        take(tmp_path, [*fleet(tmp_path), *(tmp_path / m for m in missing)])
    assert all(m in fault.value.what for m in missing)
    assert str(tmp_path) not in "".join(fault.value.lines())


def test_a_folder_stands_for_its_files(tmp_path):
    inner = tmp_path / "in"
    inner.mkdir()
    fleet(inner, readme_md="not a table")
    taken = take(tmp_path, [inner])
    assert [f.file for f in taken.report.files] == ["boats.csv", "fittings.csv", "looks.csv"]
    (tmp_path / "none").mkdir()
    with pytest.raises(UsageError, match="no file of a known kind"):
        take(tmp_path, [tmp_path / "none"])
    with pytest.raises(UsageError, match=r"no known kind: readme\.md"):
        take(tmp_path, [inner / "readme.md"])


def test_the_same_bytes_again_add_nothing(tmp_path):
    first = take(tmp_path, fleet(tmp_path))
    copy = write(tmp_path, copy_csv=LOOKS)
    again = take(tmp_path, [*fleet(tmp_path), *copy])
    assert again.tables == first.tables
    assert again.report.skipped == ("boats.csv", "fittings.csv", "looks.csv", "copy.csv")
    assert again.said[0] == "boats.csv: already in the store, nothing added"


def test_an_export_that_has_grown_adds_only_its_new_rows(tmp_path):
    take(tmp_path, fleet(tmp_path))
    grown = f"{LOOKS}L4,B1,CP1,2016-02-01,visual,no_indication,\n"
    taken = take(tmp_path, fleet(tmp_path, looks_csv=grown))
    assert [r["inspection_id"] for r in taken.tables["inspections"]] == ["L1", "L2", "L3", "L4"]
    assert taken.tables["files"][-1]["file"] == "looks.csv#2"
    assert taken.reasons() == []
    last = taken.report.files[-1]
    assert (last.rows_read, last.rows_used, last.rows_set_aside, last.rows_known) == (4, 4, 0, 3)


def test_files_of_one_name_are_told_apart_without_their_folders(tmp_path):
    for side in ("port", "starboard"):
        (tmp_path / side).mkdir()
    looks = "boat_id,inspected_on,method,result\nB1,2012-02-0{},visual,relevant\n"
    more = [
        *write(tmp_path / "port", looks_csv=looks.format(1)),
        *write(tmp_path / "starboard", looks_csv=looks.format(2)),
    ]
    boats_and_fittings = fleet(tmp_path)[:2]
    names = [f["file"] for f in take(tmp_path, [*boats_and_fittings, *more]).tables["files"]]
    assert names == ["boats.csv", "fittings.csv", "port/looks.csv", "starboard/looks.csv"]


def test_order_of_the_files_makes_no_difference(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    forward = take(tmp_path / "a", fleet(tmp_path / "a"))
    backward = take(tmp_path / "b", fleet(tmp_path / "b")[::-1])
    assert forward.tables == backward.tables


def test_plans_may_come_later_on_their_own(tmp_path):
    take(tmp_path, fleet(tmp_path))
    slots = write(tmp_path, slots_csv="slot_id,starts_on,boats_max\nS,2027-02-01,2\n")
    assert take(tmp_path, slots).tables["slots"][0]["slot_id"] == "S"


def test_a_table_may_be_named(tmp_path):
    take(tmp_path, fleet(tmp_path))
    events = write(tmp_path, e_csv="boat_id,happened_on,kind\nB1,2012,lightning\n")
    assert take(tmp_path, events, table="events").report.files[0].table == "events"
    with pytest.raises(
        UnusableDataError, match="table fittings needs columns that are not there: fitting_id, fitting_type"
    ):
        take(tmp_path, write(tmp_path, f_csv="boat_id,kind\nB1,x\n"), table="fittings")
    with pytest.raises(UsageError, match="unknown table engines"):
        take(tmp_path, events, table="engines")
    with pytest.raises(UsageError, match="unknown order of dates ymd"):
        take(tmp_path, events, dates="ymd")


FORMS = {
    "semicolons": BOATS.replace('"Ness, the second"', "Ness").replace(",", ";").encode(),
    "tabs": BOATS.replace('"Ness, the second"', "Ness").replace(",", "\t").encode(),
    "byte order mark": b"\xef\xbb\xbf" + BOATS.encode(),
    "UTF-16": BOATS.encode("utf-16"),
    "UTF-16 without a mark": BOATS.encode("utf-16-be"),
    "Windows line ends": BOATS.replace("\n", "\r\n").encode(),
    "old Mac line ends": BOATS.replace("\n", "\r").encode(),
    "no last line end": BOATS.strip().encode(),
    "blank lines": BOATS.replace("\n", "\n\n").encode(),
    "names in capitals": BOATS.replace("boat_id,boat_name", "BOAT ID,Boat-Name").encode(),
}


@pytest.mark.parametrize("form", FORMS)
def test_forms_of_text_give_the_same_rows(tmp_path, form):
    taken = take(tmp_path, fleet(tmp_path, boats_csv=FORMS[form]))
    found = [(b["boat_id"], b["joined"], b["built_latest"]) for b in taken.tables["boats"]]
    assert found == [("B1", "2010-05-01", date(2001, 12, 31)), ("B2", None, date(1999, 4, 30))]


def test_windows_1252_is_read_and_said_once(tmp_path):
    boats = "boat_id,boat_name\nB1,Ægir\nB2,Grüße\n".encode("cp1252")
    taken = take(tmp_path, fleet(tmp_path, boats_csv=boats))
    assert [b["boat_name"] for b in taken.tables["boats"]] == ["Ægir", "Grüße"]
    assert taken.said == ["boats.csv: not UTF-8 throughout; lines that are not are read as Windows-1252"]
    assert taken.tables["files"][0]["encoding"] == "cp1252"


def test_one_wrong_byte_does_not_garble_the_other_lines(tmp_path):
    boats = "boat_id,boat_name\nB1,Ægir\n".encode() + "B2,Grüße\n".encode("cp1252")
    assert [b["boat_name"] for b in take(tmp_path, fleet(tmp_path, boats_csv=boats)).tables["boats"]] == [
        "Ægir",
        "Grüße",
    ]


@pytest.mark.parametrize("title", ["Our fleet, 2026\nprinted for the yard\n", '"A title, with ""quotes"""\n\n'])
def test_title_rows_are_passed_over_and_said(tmp_path, title):
    taken = take(tmp_path, fleet(tmp_path, boats_csv=title + BOATS))
    assert [b["line"] for b in taken.tables["boats"]] == [4, 5] if title[0] == "O" else [3 + 1, 3 + 2]
    assert "the header is line 3" in taken.said[0]


def test_lines_that_end_in_two_ways_are_read_by_the_exact_reader(tmp_path):
    """DuckDB's reader stops there with an error of its own, and the transaction with it."""
    mixed = BOATS.replace("\n", "\r\n", 1).encode()
    assert take(tmp_path, fleet(tmp_path, boats_csv=mixed)).report.rows_set_aside == 0


def test_quoted_line_ends_keep_lines_right(tmp_path):
    boats = 'boat_id,boat_name\nB1,"two\nlines"\nB2,x\n,lost\n'
    taken = take(tmp_path, fleet(tmp_path, boats_csv=boats))
    assert [(b["line"], b["boat_name"]) for b in taken.tables["boats"]] == [(2, "two lines"), (4, "x")]
    assert taken.reasons() == [("boats.csv", 5, "boat_id", "boat_id is empty")]


def test_a_line_too_long_for_any_row_is_set_aside_unread(tmp_path, monkeypatch):
    monkeypatch.setattr(lines, "LINE_LIMIT", 3 << 20)
    boats = BOATS + "B3," + "x" * (4 << 20) + ",,,\nB4,,,,\n"
    taken = take(tmp_path, fleet(tmp_path, boats_csv=boats))
    assert taken.reasons() == [("boats.csv", 4, None, "the line is longer than 3 MB")]
    assert [b["boat_id"] for b in taken.tables["boats"]] == ["B1", "B2", "B4"]
    assert len(taken.tables["set_aside"][0]["row_json"]) < 2000


def test_a_long_line_that_is_a_row_is_used(tmp_path):
    note = "x" * (2 << 20)
    looks = f"boat_id,inspected_on,method,result,note\nB1,2012,visual,relevant,{note}\nB1,2013,visual,relevant,\n"
    looks_read = take(tmp_path, fleet(tmp_path, looks_csv=looks)).tables["inspections"]
    assert [len(r["note"] or "") for r in looks_read] == [2 << 20, 0]


def _sheet(book, name, text, *, above=0):
    sheet = book.create_sheet(name)
    for number, line in enumerate(text.strip().split("\n"), start=1 + above):
        for place, cell in enumerate(line.replace('"Ness, the second"', "Ness").split(","), start=1):
            if cell:
                sheet.cell(number, place, cell)
    return sheet


def _book(path, **sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, text in sheets.items():
        _sheet(book, name, text)
    book.save(path)
    return path


def test_each_sheet_of_a_workbook_is_a_table(tmp_path):
    events = "boat_id,happened_on,kind"  # a form not yet filled in
    sheets = {"hulls": BOATS, "parts": FITTINGS, "looks": LOOKS, "notes": "remember\nto paint", "events": events}
    path = _book(tmp_path / "fleet.xlsx", **sheets)
    taken = take(tmp_path, [path])
    assert [(f["file"], f["part"], f["table"], f["encoding"]) for f in taken.tables["files"]] == [
        ("fleet.xlsx", "hulls", "boats", "xlsx"),
        ("fleet.xlsx", "parts", "fittings", "xlsx"),
        ("fleet.xlsx", "looks", "inspections", "xlsx"),
    ]
    assert taken.said == [
        "fleet.xlsx: sheet notes is not used: no column has a name that is known",
        "fleet.xlsx: sheet events is not used: there is nothing in it",
    ]
    assert len(taken.tables["inspections"]) == 3


def test_cells_of_a_sheet_are_read_as_a_person_wrote_them(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    rows = [
        ["Fleet list"],
        [],
        [None, "boat_id", "built", "hours_per_year", "joined", "remark"],
        [None, 17, 2001, 120.5, date(2010, 5, 1), True],
        [],
        [None, "B2", "1999-04", None, None, None],
        [None, None, 1999, None, None, None],
        [None, "B3", None, None, None, None, None, "stray"],
    ]
    for cells in rows:
        sheet.append(cells)
    book.save(tmp_path / "boats.xlsx")
    fittings = FITTINGS.replace("B1", "17")
    paths = [tmp_path / "boats.xlsx", *fleet(tmp_path, fittings_csv=fittings, looks_csv=LOOKS.replace("B1", "17"))[1:]]
    taken = take(tmp_path, paths)
    first, second = taken.tables["boats"]
    assert (first["boat_id"], first["line"], first["built"], first["joined"]) == ("17", 4, "2001", "2010-05-01")
    assert (first["hours_per_year"], json.loads(first["extra"])) == (120.5, {"remark": "true", "column_1": None})
    assert (second["boat_id"], second["line"]) == ("B2", 6)
    assert taken.reasons()[:2] == [
        ("boats.xlsx [Sheet]", 7, "boat_id", "boat_id is empty"),
        ("boats.xlsx [Sheet]", 8, None, "wrong number of cells"),
    ]
    assert "the header is row 3" in taken.said[0]


def test_errors_and_formulas_without_a_value_are_not_taken_for_empty_cells(tmp_path):
    """Source: openpyxl writes formulas without a value; error cells as ECMA-376 has them (t="e")."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append([*LOOKS.splitlines()[0].split(","), "disposition", "note"])
    sheet.append(["L1", "B1", "CP1", "2012-02-01", "visual", "relevant", None, "=A1"])
    sheet.append(["L2", "B1", "#N/A", "2012-02-01", "visual", "relevant"])
    sheet.append(["L3", "B1", "CP1", "=TODAY()", "visual", "relevant"])
    sheet.append(["L4", "B1", "CP1", "2012-02-02", "visual", "relevant", None, None, "=1+1"])
    sheet["C3"].data_type = "e"
    book.save(tmp_path / "looks.xlsx")
    taken = take(tmp_path, [*fleet(tmp_path)[:2], tmp_path / "looks.xlsx"])
    assert [(r["line"], r["column"], r["value"]) for r in taken.tables["set_aside"]] == [
        (3, "fitting_id", "#N/A"),
        (4, "inspected_on", "(formula without a value)"),
    ]
    first, last = taken.tables["inspections"]
    assert (first["cells_unread"], first["disposition"]) == ("disposition", None)
    assert (last["line"], last["note"]) == (5, "(formula without a value)")


def test_a_workbook_that_would_fill_the_memory_is_refused(tmp_path, monkeypatch):
    path = _book(tmp_path / "fleet.xlsx", hulls=BOATS)
    monkeypatch.setattr(unpacking, "UNPACKED_LIMIT", 1000)
    with pytest.raises(UnusableDataError, match="bytes unpacked, over the limit"):
        take(tmp_path, [path])


def test_files_that_are_not_what_their_ending_says_are_refused(tmp_path):
    text, other = write(tmp_path, t_xlsx=BOATS, p_parquet=BOATS)
    with pytest.raises(UnusableDataError, match="not an XLSX workbook"):
        take(tmp_path, [text])
    with pytest.raises(UnusableDataError, match="not a Parquet file"):
        take(tmp_path, [other])
    with zipfile.ZipFile(tmp_path / "z.xlsx", "w") as archive:
        archive.writestr("a.txt", "no workbook")
    with pytest.raises(UnusableDataError, match="the workbook cannot be read"):
        take(tmp_path, [tmp_path / "z.xlsx"])


def test_parquet_gives_the_same_rows_whatever_its_types(tmp_path):
    table = pa.table(
        {
            "inspection_id": pa.array([1, 2, 3, 4]),
            "boat_id": ["B1", "B1", "B2", "B7"],
            "fitting_id": pa.array(["CP1", None, "", "CP1"]),
            "inspected_on": pa.array([date(2012, 2, 1), date(2013, 1, 1), date(2015, 11, 1), None]),
            "method": pa.array(["penetrant", "visual", "ultrasonic", "visual"]).dictionary_encode(),
            "result": ["no_indication", "relevant", "inconclusive", "relevant"],
            "part_temp_c": pa.array([18.0, float("nan"), None, 1.0]),
            "surface_cleaned": pa.array([True, False, None, None]),
            "when": pa.array([1, 2, None, 3], pa.timestamp("us")),
        }
    )
    parquet.write_table(table, tmp_path / "looks.parquet")
    taken = take(tmp_path, [*fleet(tmp_path)[:2], tmp_path / "looks.parquet"])
    looks = taken.tables["inspections"]
    assert [(r["inspection_id"], r["line"], r["fitting_id"]) for r in looks] == [
        ("1", 2, "CP1"),
        ("2", 3, None),
        ("3", 4, None),
    ]
    assert [(r["part_temp_c"], r["surface_cleaned"]) for r in looks] == [(18.0, True), (None, False), (None, None)]
    assert looks[0]["inspected_on_earliest"] == date(2012, 2, 1)
    assert taken.reasons() == [("looks.parquet", 5, "inspected_on", "inspected_on is empty")]
    assert row(taken, 5)["inspection_id"] == "4"


HOSTILE = [
    "'; DROP TABLE boats; --",
    "\"; ATTACH 'x'; \"",
    "=HYPERLINK(1)",
    "<script>alert(1)</script>",
    "../../etc",
    "{0} %s $file ${x} {{x}}",
    "Ω≈ç√∫ \u202e gnp 🛟",
    "NULL",
    "a;b\tc",
]


@pytest.mark.parametrize("word", HOSTILE)
def test_text_is_data_whatever_it_says(tmp_path, word):
    quoted = '"' + word.replace('"', '""') + '"'
    boats = f"boat_id,boat_name,{quoted}\n{quoted},{quoted},{quoted}\nB2,x,\n"
    fittings = f"boat_id,fitting_id,fitting_type,material\n{quoted},{quoted},{quoted},{quoted}\n"
    looks = (
        "boat_id,fitting_id,inspected_on,method,result\n"
        f"{quoted},{quoted},2012,visual,relevant\n"
        f"{quoted},{quoted},{quoted},visual,relevant\n"
    )
    taken = take(tmp_path, fleet(tmp_path, boats_csv=boats, fittings_csv=fittings, looks_csv=looks))
    kept = " ".join(word.split())
    assert taken.tables["boats"][0]["boat_name"] == kept
    assert json.loads(taken.tables["boats"][0]["extra"]) == {word: word}
    assert taken.tables["inspections"][0]["fitting_id"] == kept
    assert [r["value"] for r in taken.tables["set_aside"]] == [word]
    assert row(taken, 3)["boat_id"] == word


def test_file_names_are_data_too(tmp_path):
    names = ["boats'; --.csv", "fittings [1]*.csv", "looks?.csv"]
    for name, text in zip(names, (BOATS, FITTINGS, f"{LOOKS}L9,B9,,2012,visual,relevant,\n"), strict=True):
        (tmp_path / name).write_text(text, encoding="utf-8")
    taken = take(tmp_path, [tmp_path / n for n in names])
    assert [f["file"] for f in taken.tables["files"]] == names
    assert taken.reasons()[0][0] == "looks?.csv"


def test_a_link_is_followed(tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "in").mkdir()
    for path in fleet(tmp_path / "there"):
        (tmp_path / "in" / path.name).symlink_to(path)
    with opened(tmp_path / "s.duckdb", folders=[tmp_path / "in"], create=True) as con:
        assert ingest(con, [tmp_path / "in"], limit=LIMIT).rows_read == 8


def test_the_store_keeps_no_folder_of_this_machine(tmp_path):
    take(tmp_path, fleet(tmp_path, looks_csv=f"{LOOKS}L9,B9,,2012,visual,relevant,\n"))
    with duckdb.connect(str(tmp_path / "s.duckdb"), read_only=True) as con:
        names = [n for (n,) in con.execute("SELECT table_name FROM information_schema.tables").fetchall()]
        text = "".join(str(con.execute(f'SELECT * FROM "{n}"').fetchall()) for n in names)
    assert str(tmp_path) not in text
    assert not any(n in {"staged", "faults", "readings"} for n in names)


def test_the_same_bytes_under_two_names_in_one_call_are_taken_in_once(tmp_path):
    """Worked out by hand: the second file adds nothing and is named as held."""
    files = fleet(tmp_path)
    (tmp_path / "looks_copy.csv").write_bytes((tmp_path / "looks.csv").read_bytes())
    taken = take(tmp_path, [*files, tmp_path / "looks_copy.csv"])
    assert (len(taken.tables["inspections"]), taken.report.rows_read) == (3, 8)
    assert taken.report.skipped == ("looks_copy.csv",)
