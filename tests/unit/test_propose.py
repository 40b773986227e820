"""A first mapping for a stranger's file: it loads, it says what the data decide, and asks for all else."""

from __future__ import annotations

from pathlib import Path

import pytest

from bobstay.errors import BobstayError, UnusableDataError, UsageError
from bobstay.mapping import load
from bobstay.propose import proposed
from ingest_files import take

SENDERS = Path(__file__).parents[1] / "data" / "senders"
FLEET = sorted(SENDERS.glob("fleet_*.csv"))
FILES = [p for p in sorted(SENDERS.glob("*[0-9]_*")) if p.suffix != ".toml"]


def mapped(folder, text):
    path = folder / "m.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_what_is_proposed_loads_and_gives_counts_or_named_questions(tmp_path, path):
    made = proposed(path)
    mapping = mapped(tmp_path, made.text)
    assert mapping.is_for_file(path.name)
    try:
        taken = take(tmp_path, [*FLEET, path], mappings=[mapping])
    except UnusableDataError as fault:  # nothing can be used before the questions are answered
        assert made.questions
        assert "commonest reason" in fault.what
        return
    reports = [r for r in taken.report.files if r.file == path.name]
    assert sum(r.rows_read for r in reports) > 0
    assert all(r.rows_read == r.rows_used + r.rows_set_aside for r in reports)
    aside = [r for r in taken.tables["set_aside"] if r["file"].startswith(path.name)]
    assert all(r["reason"] and r["hint"] for r in aside)
    assert made.questions or any(r.rows_used for r in reports)


def test_a_flat_sheet_is_asked_whether_it_tells_of_fittings_and_boats_too():
    asked = proposed(SENDERS / "s08_one_flat_sheet.csv").questions
    assert any("Type, Material may tell of fittings" in q for q in asked)
    assert any("Built, Since may tell of boats" in q for q in asked)


def csv_of(tmp_path, *days, heading="Date"):
    path = tmp_path / "days.csv"
    rows = "\n".join(f"SAL,CP-P,{day},dye,crack" for day in days)
    path.write_text(f"Boat,Fitting,{heading},Method,Result\n{rows}\n", encoding="utf-8")
    return path


ORDERS = [
    (("13/4/2016", "3/4/2016"), "dmy"),
    (("4/13/2016", "3/4/2016"), "mdy"),
    (("3/4/2016", "5/6/2017"), None),
    (("13/4/2016", "4/13/2016"), None),
    (("35/4/2016", "3/4/2016"), None),
    (("2016-04-13", "2016-04-14"), None),
    (("3 Apr 2016", "May 2017"), "ymd"),
]


@pytest.mark.parametrize(("days", "order"), ORDERS)
def test_an_order_of_days_is_written_only_where_the_data_decide_it(tmp_path, days, order):
    made = proposed(csv_of(tmp_path, *days))
    assert mapped(tmp_path, made.text).dates == order
    is_open = order is None and "/" in days[0]
    assert any("day first" in q or "order" in q for q in made.questions) == is_open


def test_a_column_that_decides_nothing_is_asked_for_whatever_another_says(tmp_path):
    path = tmp_path / "parts.csv"
    path.write_text(
        "Boat,Part,Type,Material,Fitted,Removed\nSAL,X,keel bolt,bronze,3/4/2016,23/4/2018\n", encoding="utf-8"
    )
    made = proposed(path)
    assert mapped(tmp_path, made.text).dates is None
    assert any("no number of Fitted is over 12" in q for q in made.questions)


def test_samples_show_what_each_cell_would_be_read_as(tmp_path):
    text = proposed(csv_of(tmp_path, "13/4/2016", "1/2/2017", "2/2/2017", "3/2/2017", "4/2/2017", "5/2/2017")).text
    (line,) = [line for line in text.splitlines() if line.startswith('# "13/4/2016"')]
    assert line.count("->") == 5
    assert '"1/2/2017" -> 2017-02-01' in line
    assert '# "crack" -> relevant' in text


def test_unknown_words_are_asked_for_with_counts_and_never_applied(tmp_path):
    path = tmp_path / "words.csv"
    path.write_text(
        "Boat,Fitting,Date,Method,Result\nSAL,CP-P,2016-01-02,dye,looks fine\nSAL,CP-S,2016-01-02,dye,OK\n"
        "NES,CP-P,2016-01-02,dye,OK\n",
        encoding="utf-8",
    )
    made = proposed(path)
    assert any(q.startswith('2 rows say "OK" in result: is it no_indication?') for q in made.questions)
    taken = take(tmp_path, [*FLEET, path], mappings=[mapped(tmp_path, made.text)])
    assert taken.report.files[-1].rows_set_aside == 3


def test_hostile_headings_and_cells_stay_comments_and_strings(tmp_path):
    path = tmp_path / "h.csv"
    path.write_text(
        'Boat,Fitting,Date,Method,Result,"x""] = 1\n[part]",zzz\x1b[31m\n'
        'SAL,CP-P,2016-01-02,dye,"crack""\n[words.result]\nno_indication=[1]",v,w\n',
        encoding="utf-8",
    )
    made = proposed(path)
    assert "\x1b" not in made.text
    assert set(mapped(tmp_path, made.text).parts[0].columns) <= {"Boat", "Fitting", "Date", "Method", "Result"}


def test_files_that_are_none_are_refused(tmp_path):
    with pytest.raises(UsageError, match="not there"):
        proposed(tmp_path / "none.csv")
    picture = tmp_path / "x.png"
    picture.write_bytes(b"x")
    with pytest.raises(UsageError, match="no known kind"):
        proposed(picture)
    empty = tmp_path / "e.csv"
    empty.write_text("")
    with pytest.raises(BobstayError, match="header"):
        proposed(empty)


TABLES = {
    "s01_deutsch.csv": ["inspections"],
    "s02_wide_visits.xlsx": ["inspections"],
    "s03_whole_boat.csv": ["inspections"],
    "s04_several_sheets.xlsx": ["boats", "fittings", "inspections"],
    "s05_sheet_a_boat.xlsx": ["inspections", "inspections"],
    "s06_francais.csv": ["inspections"],
    "s10_espanol.csv": ["inspections"],
    "s12_sides_and_ticks.txt": ["inspections"],
    "s13_parts.parquet": ["fittings"],
}


@pytest.mark.parametrize("name", TABLES)
def test_the_table_of_each_sheet_is_known_by_its_headings(tmp_path, name):
    """Source: what the sender's sheets hold, as their own mappings say."""
    found = [part.table.name for part in mapped(tmp_path, proposed(SENDERS / name).text).parts]
    assert found == TABLES[name]
