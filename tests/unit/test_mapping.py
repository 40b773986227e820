"""Mapping files: what they may say, and that every key that is not known is refused by name."""

from __future__ import annotations

import pytest

from bobstay.errors import UsageError
from bobstay.ingest.mapped import headings
from bobstay.ingest.spoken_days import as_edtf
from bobstay.mapping import as_number, load

GOOD = """
files = ["x_*.csv"]
[[part]]
table = "boats"
[part.columns]
Yacht = "boat_id"
"""
LOOKS = """
files = ["x.csv"]
[[part]]
table = "inspections"
{more}
[part.columns]
B = "boat_id"
D = "inspected_on"
{columns}
[part.constants]
method = "visual"
"""


def refused(tmp_path, text):
    path = tmp_path / "m.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        load(path)
    return caught.value


def test_a_small_mapping_is_read(tmp_path):
    path = tmp_path / "m.toml"
    path.write_text("\ufeff" + GOOD, encoding="utf-8")
    mapping = load(path)
    assert mapping.is_for_file("X_2019.CSV")
    assert not mapping.is_for_file("y.csv")
    assert mapping.parts[0].columns == {"Yacht": ("boat_id",)}
    assert (mapping.dates, mapping.decimal) == (None, ".")


WRONG = [
    ("decimals = ','\n" + GOOD, "unknown key decimals", "key decimals, value ','", "did you mean decimal?"),
    (GOOD.replace("x_*.csv", "x.csv") + "\n[colour]\na=1", "unknown key colour", "key colour", "allowed here"),
    ("dates = 'dym'\n" + GOOD, "dates cannot be dym", "value 'dym'", "dmy, mdy, ymd"),
    ("decimal = 3\n" + GOOD, "decimal must be text", "value 3", "write text"),
    (GOOD.replace('["x_*.csv"]', "[]"), "which files it is for", "key files", "patterns of the names"),
    ("files = ['x.csv']", "it has no part", "key part", "[[part]]"),
    (GOOD.replace("boats", "boat"), "part 1.table cannot be boat", "value 'boat'", "did you mean boats?"),
    (GOOD.replace("boat_id", "boatid"), "no column boatid", "key part 1.columns.Yacht", "did you mean boat_id?"),
    (GOOD.replace("[part.columns]", "heder = 2\n[part.columns]"), "unknown key heder", "part 1.heder", "header"),
    (GOOD.replace("[part.columns]", "header = 0\n[part.columns]"), "less than 1", "part 1.header, value 0", "from 1"),
    (GOOD.replace("[part.columns]", "skip = ['(']\n[part.columns]"), "is no pattern", "part 1.skip", "regular"),
    (
        GOOD.replace('Yacht = "boat_id"', 'Yacht = "built"'),
        "nothing says what boat_id",
        "value 'boats'",
        "[part.columns]",
    ),
    (GOOD + 'Name = "boat_id"\n', "boat_id is filled twice", "part 1", "once"),
    (GOOD + "[part.units]\nbuilt = 'inch'\n", "built takes no unit", "part 1.units.built", "take the line out"),
    (
        GOOD + "[words.result]\nrelevant = ['x']\nmaybe = ['y']\n",
        "result knows no word 'maybe'",
        "result.maybe",
        "relevant",
    ),
    (GOOD + "[words.colour]\nred = ['x']\n", "no words are kept for colour", "words.colour", "allowed here"),
    (GOOD + "[words.boat_id]\nA = ['x']\nB = ['X']\n", "given to two words", "words.boat_id.B", "one of the two"),
    ("files = [", "not TOML", "m.toml", "propose"),
    (LOOKS.format(more='shape = "wide"', columns='R = "result"'), "the shape does not fit", "part 1.shape", "wide"),
    (
        GOOD.replace("[part.columns]", 'shape = "boat"\n[part.columns]'),
        "the shape does not fit",
        "'boat'",
        "inspections",
    ),
]


@pytest.mark.parametrize(("text", "what", "where", "remedy"), WRONG, ids=[w[1] for w in WRONG])
def test_what_is_wrong_is_named_with_key_value_and_what_is_allowed(tmp_path, text, what, where, remedy):
    fault = refused(tmp_path, text)
    assert what in fault.what
    assert where in fault.where
    assert remedy in fault.remedy


def test_an_indication_cannot_be_mapped_to_a_clear_look_by_a_word_that_says_crack(tmp_path):
    fault = refused(tmp_path, GOOD + "[words.result]\nno_indication = ['crack']\n")
    assert "'crack'" in fault.what
    assert "relevant" in fault.what


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(UsageError, match="not there"):
        load(tmp_path / "none.toml")


# text, decimal mark, unit, number in the table's own unit (worked out by hand)
NUMBERS = [
    ("2,5", ",", None, "2.5"),
    ("1.234,5", ",", None, "1234.5"),
    ("1 234,5", ",", None, "1234.5"),
    ("12.34,5", ",", None, "12.34,5"),
    ("1,234.5", ".", None, "1234.5"),
    ("2,5", ".", None, "2,5"),
    ("0.5", ".", "inch", "12.7"),
    ('0.5"', ".", None, "12.7"),
    ("3 mm", ".", "inch", "3"),
    ("1 cm", ".", None, "10"),
    ("3 kg", ".", None, "3 kg"),
    ("about 3", ".", None, "about 3"),
    ("-1", ".", None, "-1"),
]


@pytest.mark.parametrize(("text", "decimal", "unit", "expected"), NUMBERS)
def test_lengths_are_read_as_written(text, decimal, unit, expected):
    assert as_number(text, column="indication_length_mm", decimal=decimal, unit=unit) == expected


def test_degrees_and_times():
    """32 F = 0 C, 212 F = 100 C and 90 s = 1.5 min by definition."""
    degrees = [as_number(t, column="part_temp_c", unit="fahrenheit") for t in ("32", "212", "20 °C")]
    assert degrees == ["0", "100", "20"]
    assert as_number("90", column="penetrant_dwell_min", unit="seconds") == "1.5"
    assert as_number("2 h", column="developer_dwell_min") == "120"
    assert as_number("5 mm", column="hours_per_year") == "5 mm"


DAYS = [
    ("3 Apr 2019", "2019-04-03"),
    ("April 2019", "2019-04"),
    ("3. März 2019", "2019-03-03"),
    ("1er mai 2018", "2018-05-01"),
    ("3 de abril de 2019", "2019-04-03"),
    ("Mar 3, 2019", "2019-03-03"),
    ("4/2019", "2019-04"),
    ("2019/4/3", "2019-04-03"),
    ("20190403", "2019-04-03"),
    ("ca. 1998", "1998~"),
    ("before 2001", "../2000"),
    ("3/4/19", None),
    ("13/2019", None),
    ("2004/2009", None),
    ("blue 2019", None),
]


@pytest.mark.parametrize(("text", "edtf"), DAYS)
def test_days_as_people_write_them(text, edtf):
    assert as_edtf(text) == edtf


def test_headings_of_two_rows_are_joined_and_equal_ones_numbered():
    assert headings([("Boat", "Plate", "", "Note", ""), ("", "port", "stbd", "", "")]) == (
        "Boat",
        "Plate / port",
        "Plate / stbd",
        "Note",
    )
    assert headings([("A", "a ", "", "B")]) == ("A", "a (2)", "column_3", "B")
