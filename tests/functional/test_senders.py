"""Files as people keep them, each read by its mapping: every row is used, or set aside for the right reason.

The files in tests/data/senders are invented. What is expected was worked out by hand from the files, row by row.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bobstay.errors import BobstayError
from bobstay.mapping import load
from ingest_files import take

SENDERS = Path(__file__).parents[1] / "data" / "senders"
FLEET = sorted(SENDERS.glob("fleet_*.csv"))
DAY = "there is no such day, read as day/month/year"
EMPTY_ROW = "no fitting's cell is filled in: the row says nothing of any part"
SKIPPED = "the mapping says to skip such rows"
NO_FITTING = "fitting_id is not in fittings for this boat"
NO_BOAT = "boat_id is not in boats"
WORD = "unknown word in result"
WIDE = "s02_wide_visits.xlsx [Visits: "

# file -> {(part, table): (rows read, used, set aside)}, and (file shown, line, column, reason) of each row set aside
EXPECTED = {
    "s01_deutsch.csv": (
        {("-", "inspections"): (8, 5, 3)},
        [("", 9, "inspected_on", DAY), ("", 11, None, SKIPPED), ("", 12, None, SKIPPED)],
    ),
    "s02_wide_visits.xlsx": (
        {
            ("Visits: Chainplate / port", "inspections"): (6, 4, 2),
            ("Visits: Chainplate / stbd", "inspections"): (3, 2, 1),
            ("Visits: Below / keel bolt", "inspections"): (2, 1, 1),
            ("Visits: Below / rudder", "inspections"): (1, 1, 0),
        },
        [
            (" [Visits: Below / keel bolt]", 5, "result", WORD),
            (" [Visits: Chainplate / port]", 8, None, EMPTY_ROW),
            (" [Visits: Chainplate / port]", 11, None, SKIPPED),
            (" [Visits: Chainplate / stbd]", 9, "result", WORD),
        ],
    ),
    "s03_whole_boat.csv": ({("-", "inspections"): (4, 3, 1)}, [("", 5, "boat_id", NO_BOAT)]),
    "s04_several_sheets.xlsx": (
        {("Yachts", "boats"): (2, 2, 0), ("Parts", "fittings"): (4, 3, 1), ("Tests", "inspections"): (4, 3, 1)},
        [(" [Parts]", 5, "material", "material is empty"), (" [Tests]", 5, "fitting_id", NO_FITTING)],
    ),
    "s05_sheet_a_boat.xlsx": (
        {("SAL", "inspections"): (2, 2, 0), ("NES", "inspections"): (2, 1, 1)},
        [(" [NES]", 3, "fitting_id", NO_FITTING)],
    ),
    "s06_francais.csv": (
        {("-", "inspections"): (5, 3, 2)},
        [("", 5, "result", WORD), ("", 6, "inspected_on", DAY)],
    ),
    "s07_utf16_us.tsv": (
        {("-", "inspections"): (4, 3, 1)},
        [("", 4, "inspected_on", "there is no such day, read as month/day/year")],
    ),
    "s08_one_flat_sheet.csv": (
        {("-", "boats"): (3, 2, 1), ("-", "fittings"): (4, 3, 1), ("-", "inspections"): (5, 4, 1)},
        [
            ("", 5, "material", "material is empty"),
            ("", 5, "fitting_id", NO_FITTING),
            ("", 6, "boat_id", "the same boat_id stands earlier, with other cells"),
        ],
    ),
    "s09_groups.csv": (
        {("-", "inspections"): (7, 4, 3)},
        [
            ("", 6, None, "wrong number of cells"),
            ("", 7, None, "its group is not known: a row above, where it may begin, cannot be read"),
            ("", 8, None, "a quote is opened and never closed"),
        ],
    ),
    "s10_espanol.csv": ({("-", "inspections"): (5, 3, 2)}, [("", 4, "boat_id", NO_BOAT), ("", 5, "result", WORD)]),
    "s11_two_tables.csv": (
        {("-", "boats"): (2, 2, 0), ("-", "fittings"): (3, 2, 1)},
        [("", 11, "boat_id", NO_BOAT)],
    ),
    "s12_sides_and_ticks.txt": (
        {("-", "inspections"): (5, 3, 2)},
        [("", 4, "result", "result is empty"), ("", 5, "method", "unknown word in method")],
    ),
    "s13_parts.parquet": ({("-", "fittings"): (3, 2, 1)}, [("", 4, "material", "material is empty")]),
}


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    """Each sender's file taken in beside the small fleet, by its mapping."""
    held = {}

    def of(name):
        if name not in held:
            path = SENDERS / name
            folder = tmp_path_factory.mktemp("sender")
            held[name] = take(folder, [*FLEET, path], mappings=[load(path.with_suffix(".toml"))])
        return held[name]

    return of


def looks(taken, name):
    """(line, boat, fitting, day, method, result) of each look of the sender's."""
    ids = {f["file_id"] for f in taken.tables["files"] if f["file"] == name}
    rows = [r for r in taken.tables["inspections"] if r["file_id"] in ids]
    columns = ("line", "boat_id", "fitting_id", "inspected_on_earliest", "method", "result")
    return [tuple(str(r[c]) if c.startswith("inspected") else r[c] for c in columns) for r in rows]


def test_every_sender_in_the_folder_is_expected():
    files = {p.name for p in SENDERS.glob("s[0-9]*") if p.suffix != ".toml"}
    assert files == set(EXPECTED)
    assert len(files) >= 12


@pytest.mark.parametrize("name", EXPECTED)
def test_rows_are_used_or_set_aside_for_the_right_reason(taken, name):
    counts, reasons = EXPECTED[name]
    got = taken(name)
    reports = [r for r in got.report.files if r.file == name]
    assert {(r.part, r.table): (r.rows_read, r.rows_used, r.rows_set_aside) for r in reports} == counts
    assert sorted(got.reasons(), key=str) == sorted([(name + f, *rest) for f, *rest in reasons], key=str)
    for report in reports:
        assert report.rows_read == report.rows_used + report.rows_set_aside


def test_german_words_decimals_and_days(taken):
    got = taken("s01_deutsch.csv")
    assert looks(got, "s01_deutsch.csv") == [
        (4, "SAL", "CP-P", "2016-04-03", "penetrant", "no_indication"),
        (5, "SAL", "CP-S", "2016-04-03", "penetrant", "relevant"),
        (6, "NES", "CP-P", "2016-04-05", "penetrant", "no_indication"),
        (7, "NES", "KB1", "2016-04-05", "ultrasonic", "inconclusive"),
        (8, "TER", "CP-P", "2016-04-05", "penetrant", "relevant"),
    ]
    lengths = [r["indication_length_mm"] for r in got.tables["inspections"] if r["indication_length_mm"]]
    assert lengths == [2.5, 1234.5]
    assert any("the header is line 3" in said for said in got.said)


def test_fittings_as_columns_become_looks_that_keep_their_line(taken):
    assert sorted(looks(taken("s02_wide_visits.xlsx"), "s02_wide_visits.xlsx")) == [
        (5, "SAL", "CP-P", "2015-04-02", "penetrant", "no_indication"),
        (5, "SAL", "CP-S", "2015-04-02", "penetrant", "relevant"),
        (6, "NES", "CP-P", "2016-05-01", "penetrant", "no_indication"),
        (6, "NES", "KB1", "2016-05-01", "penetrant", "no_indication"),
        (9, "TER", "CP-P", "2018-06-09", "penetrant", "no_indication"),
        (10, "SAL", "CP-P", "2019-04-02", "penetrant", "no_indication"),
        (10, "SAL", "CP-S", "2019-04-02", "penetrant", "no_indication"),
        (10, "SAL", "RS", "2019-04-02", "penetrant", "no_indication"),
    ]


def test_a_fitting_of_which_no_cell_is_filled_in_is_said_and_costs_nothing(tmp_path):
    path = tmp_path / "s02_wide.csv"
    path.write_text("Boat,Day,port,stbd\nSAL,2015-04-02,,crack\n", encoding="utf-8")
    mapping = tmp_path / "m.toml"
    mapping.write_text(
        'files = ["s02_*"]\n[[part]]\ntable = "inspections"\nshape = "wide"\n[part.columns]\nBoat = "boat_id"\n'
        'Day = "inspected_on"\n[part.constants]\nmethod = "penetrant"\n'
        '[part.wide.columns]\nport = "CP-P"\nstbd = "CP-S"\n',
        encoding="utf-8",
    )
    got = take(tmp_path, [*FLEET, path], mappings=[load(mapping)])
    assert looks(got, path.name) == [(2, "SAL", "CP-S", "2015-04-02", "penetrant", "relevant")]
    assert any("no cell is filled in: port" in said for said in got.said)


def test_a_word_on_the_whole_boat_tells_of_no_part(taken):
    got = taken("s03_whole_boat.csv")
    assert [look[1:3] + look[5:] for look in looks(got, "s03_whole_boat.csv")] == [
        ("SAL", None, "inconclusive"),
        ("NES", None, "inconclusive"),
        ("TER", None, "relevant"),
    ]
    kept = [json.loads(r["extra"])["as it came"] for r in got.tables["inspections"] if r["extra"]]
    assert kept == ["All OK", "rust at the stem", "crack"]


def test_a_number_in_a_sheet_is_a_material_as_a_person_reads_it(taken):
    got = taken("s04_several_sheets.xlsx")
    assert {r["material"] for r in got.tables["fittings"] if r["boat_id"] == "101"} == {"316", "bronze"}
    parquet = taken("s13_parts.parquet")
    assert {r["material"] for r in parquet.tables["fittings"] if r["installed"] in ("2005-01-01", None)} == {
        "316",
        "304",
    }


def test_a_sheet_may_be_a_boat(taken):
    assert [look[1:3] for look in looks(taken("s05_sheet_a_boat.xlsx"), "s05_sheet_a_boat.xlsx")] == [
        ("SAL", "CP-P"),
        ("SAL", "CP-S"),
        ("NES", "CP-P"),
    ]


def test_units_are_turned_into_the_tables_own(taken):
    """0.5 inch = 12.7 mm, 68 F = 20 C, 41 F = 5 C, 600 s = 10 min by definition; a sign beside a number is believed."""
    rows = [r for r in taken("s07_utf16_us.tsv").tables["inspections"] if r["part_temp_c"] is not None]
    assert [(r["indication_length_mm"], r["part_temp_c"]) for r in rows] == [(12.7, 20.0), (None, 5.0), (3.0, 20.0)]
    assert [r["penetrant_dwell_min"] for r in rows] == pytest.approx([10, 20, 1 / 6])


def test_one_flat_sheet_gives_three_tables_each_thing_once(taken):
    got = taken("s08_one_flat_sheet.csv")
    assert [r["boat_id"] for r in got.tables["boats"] if r["boat_id"] in ("Pipit", "Knot")] == ["Pipit", "Knot"]
    assert [s for s in got.said if "counted once" in s] == [
        "s08_one_flat_sheet.csv: rows that say of boats what earlier ones say, counted once: 2",
        "s08_one_flat_sheet.csv: rows that say of fittings what earlier ones say, counted once: 1",
    ]


def test_a_group_is_carried_down_but_never_past_a_row_that_cannot_be_read(taken):
    got = taken("s09_groups.csv")
    assert looks(got, "s09_groups.csv") == [
        (2, "SAL", "CP-P", "2016-05-02", "penetrant", "no_indication"),
        (4, "SAL", "CP-S", "2016-05-02", "penetrant", "relevant"),
        (5, "SAL", "KB1", "2016-05-02", "penetrant", "not_inspected"),
        (9, "TER", "CP-P", "2016-05-05", "penetrant", "no_indication"),
    ]


def test_days_by_name_of_month_are_read_where_an_order_is_declared(taken):
    got = taken("s10_espanol.csv")
    rows = [r for r in got.tables["inspections"] if r["inspection_id"] is None]
    days = [(str(r["inspected_on_earliest"]), str(r["inspected_on_latest"])) for r in rows]
    assert days == [("2016-04-03", "2016-04-03"), ("2016-04-01", "2016-04-30"), ("2017-04-12", "2017-04-12")]
    assert [(u["line"], u["column"], u["value"]) for u in got.tables["cells_unread"]] == [(6, "part_temp_c", "frío")]


def test_joined_columns_ticks_and_words_for_nothing(taken):
    got = taken("s12_sides_and_ticks.txt")
    rows = [r for r in got.tables["inspections"] if r["inspection_id"] is None]
    assert [(r["fitting_id"], r["surface_cleaned"], r["penetrant_dwell_min"]) for r in rows] == [
        ("CP-P", True, 10.0),
        ("CP-S", False, 5.0),
        ("CP-S", None, 10.0),
    ]
    assert rows[2]["cells_unread"] == "surface_cleaned"


def test_rows_set_aside_are_kept_as_they_came_with_the_senders_own_names(taken):
    aside = [r for r in taken("s01_deutsch.csv").tables["set_aside"] if r["line"] == 9]
    assert json.loads(aside[0]["row_json"])["Datum"] == "35.4.2016" == aside[0]["value"]
    asked = [r["hint"] for r in taken("s06_francais.csv").tables["set_aside"] if r["column"] == "result"]
    assert asked[0].startswith("did you mean no_indication? a mapping can say so")


def test_spellings_of_one_meaning_are_one_class_and_listed(taken):
    merged = taken("s04_several_sheets.xlsx").merged
    assert merged == [
        ("fitting_type", "Chain plate", "chainplate", 1),
        ("fitting_type", "chainplate", "chainplate", 7),
    ]


def test_the_same_file_by_another_mapping_is_refused_and_by_the_same_adds_nothing(tmp_path):
    path = SENDERS / "s10_espanol.csv"
    mapping = load(path.with_suffix(".toml"))
    take(tmp_path, [*FLEET, path], mappings=[mapping])
    again = take(tmp_path, [path], mappings=[mapping])
    assert again.report.skipped == ("s10_espanol.csv",)
    other = tmp_path / "other.toml"
    other.write_text(path.with_suffix(".toml").read_text().replace("Varadero del Sur", "Varadero"))
    with pytest.raises(BobstayError, match="read by another mapping"):
        take(tmp_path, [path], mappings=[load(other)])


def test_a_mapping_for_no_file_and_two_for_one_are_refused(tmp_path):
    mapping = load(SENDERS / "s10_espanol.toml")
    with pytest.raises(BobstayError, match="for none of the files"):
        take(tmp_path, FLEET, mappings=[mapping])
    with pytest.raises(BobstayError, match="more than one mapping"):
        take(tmp_path, [*FLEET, SENDERS / "s10_espanol.csv"], mappings=[mapping, mapping])
