"""Papers read back as a yard's printer, spreadsheet and calendar would: words, pages, codes, bytes.

Sources: PDF tags ISO 32000-1 section 14.8, calendars RFC 5545, formulas in cells OWASP; all from
memory.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import duckdb
import icalendar
import numpy as np
import openpyxl
import pandas as pd
import pypdfium2
import pytest
from pypdf import PdfReader

import fleet_fixture as fixture
from bobstay import store, tables
from bobstay.ingest.cells import read_cell
from bobstay.ingest.record import Rules
from bobstay.papers import list_lines, write_papers
from bobstay.report import page_names
from bobstay.settings import Settings, Words
from bobstay.wording import LANGUAGES, wording_of

SETTINGS = replace(Settings(), invented=True)
EDGE = 1.0  # points a glyph may stand over the edge of a page


def write(con: duckdb.DuckDBPyConnection, out: Path, *, settings: Settings = SETTINGS, as_of: date = fixture.AS_OF):
    list_lines(con, as_of=as_of)
    return write_papers(con, out, settings=settings, as_of=as_of, say=lambda _: None)


def built() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    fixture.build(con)
    notices = tables.OUTPUT_BY_NAME["notice_status"]
    store.write(con, notices, pd.DataFrame(columns=list(notices.column_names)))
    return con


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The folder of papers of the hostile fleet, and the lines that stand on them."""
    out = tmp_path_factory.mktemp("papers")
    with built() as con:
        write(con, out)
        return out, con.execute("SELECT * FROM worksheet_lines WHERE is_current ORDER BY boat_id, place").df()


def text_of(path: Path) -> list[str]:
    """Return the text of each page, white space collapsed."""
    document = pypdfium2.PdfDocument(path)
    pages = [" ".join(page.get_textpage().get_text_range().split()) for page in document]
    document.close()
    return pages


def pdfs(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.pdf"))


def test_every_kind_of_paper_is_there(made):
    out, lines = made
    names = page_names(fixture.BOAT_IDS)
    listed = {names[boat] for boat in lines["boat_id"]}
    assert len(listed) > 5
    for file in listed:
        assert (out / "worksheets" / f"{file}.pdf").is_file()
        assert (out / "worksheets" / f"{file}.xlsx").is_file()
        assert (out / "letters" / f"{file}.pdf").is_file()
    for name in ("worksheets/all.pdf", "guidance.pdf", "wall_sheet.pdf", "priority.xlsx", "haul_plan.ics"):
        assert (out / name).is_file()


def test_no_line_is_lost(made):
    """Each code stands on its own boat's sheet and on no other, and once in the file for the printer."""
    out, lines = made
    names = page_names(fixture.BOAT_IDS)
    printed = " ".join(text_of(out / "worksheets" / "all.pdf"))
    assert [printed.count(code) for code in lines["code"]] == [1] * len(lines)
    for boat, own in lines.groupby("boat_id"):
        text = " ".join(text_of(out / "worksheets" / f"{names[boat]}.pdf"))
        assert set(re.findall(r"\b[2-9A-Y]{3}-[2-9A-Y]{4}\b", text)) == set(own["code"])


def test_every_page_carries_the_caution_and_that_the_data_are_invented(made):
    out, _ = made
    caution = wording_of(Words()).say("common.caution")
    pages = [(path.name, n, text) for path in pdfs(out) for n, text in enumerate(text_of(path))]
    assert len(pages) > 30
    assert [(name, n) for name, n, text in pages if caution not in text] == []
    assert [(name, n) for name, n, text in pages if "Invented data." not in text] == []


def test_nothing_stands_over_the_edge_of_a_page_and_nothing_is_empty(made):
    out, _ = made
    wrong = []
    for path in pdfs(out):
        document = pypdfium2.PdfDocument(path)
        for number, page in enumerate(document):
            width, height = page.get_size()
            text = page.get_textpage()
            boxes = [text.get_rect(i) for i in range(text.count_rects())]
            inside = all(
                left >= -EDGE and bottom >= -EDGE and right <= width + EDGE and top <= height + EDGE
                for left, bottom, right, top in boxes
            )
            wrong += [] if boxes and inside else [(path.name, number)]
        document.close()
    assert wrong == []


@pytest.mark.parametrize("name", ["worksheets/all.pdf", "guidance.pdf", "wall_sheet.pdf"])
def test_papers_print_in_grey(made, name):
    out, _ = made
    document = pypdfium2.PdfDocument(out / name)
    for page in document:
        picture = np.asarray(page.render(scale=0.7).to_numpy())[:, :, :3].astype(int)
        assert picture.min() < 100
        assert (picture == 255).mean() > 0.6
        assert np.abs(picture.max(axis=2) - picture.min(axis=2)).max() <= 2
    document.close()


def test_the_bulletin_has_two_pages_and_every_class(made):
    out, _ = made
    pages = text_of(out / "guidance.pdf")
    assert len(pages) == 2
    for fitting_type, _, _ in fixture.CLASSES:
        assert fitting_type in pages[0]


@pytest.mark.parametrize("name", ["guidance.pdf", "wall_sheet.pdf", "worksheets/B01.pdf", "letters/B01.pdf"])
def test_single_papers_are_tagged_and_name_their_language_and_title(made, name):
    reader = PdfReader(made[0] / name)
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    assert reader.metadata.title


def test_no_cell_of_a_workbook_runs(made):
    """Boats are called `<script>...` and `Nib & Tucker`; cells beginning with = + - @ are planted in the next test."""
    out, _ = made
    for path in sorted(out.rglob("*.xlsx")):
        for sheet in openpyxl.load_workbook(path):
            assert not [c.coordinate for row in sheet.iter_rows() for c in row if c.data_type == "f" or c.hyperlink]


def test_hostile_text_is_text_on_paper_and_in_workbooks(tmp_path):
    hostile = ("=1+1", "@SUM(A1)", '#eval("1+1") $x$ *b*', "\x1b[2J\u202egnp", "日本 🚣", "+cmd|x")
    with built() as con:
        for number, (boat, name) in enumerate(zip(fixture.BOAT_IDS, hostile, strict=False)):
            con.execute("UPDATE boats SET boat_name = $name WHERE boat_id = $boat", {"name": name, "boat": boat})
            con.execute("UPDATE priority SET position = $name WHERE boat_id = $boat", {"name": name, "boat": boat})
            assert number < len(hostile)
        write(con, tmp_path)
    names = page_names(fixture.BOAT_IDS)
    for boat, name in zip(fixture.BOAT_IDS, hostile, strict=False):
        sheet = openpyxl.load_workbook(tmp_path / "worksheets" / f"{names[boat]}.xlsx").active
        assert sheet["A1"].data_type == "s"
        text = " ".join(text_of(tmp_path / "worksheets" / f"{names[boat]}.pdf"))
        if name.isascii() and name.isprintable():
            assert " ".join(name.split()) in text
    assert "\\x1b[2J\\u202egnp" in " ".join(text_of(tmp_path / "worksheets" / f"{names[fixture.BOAT_IDS[3]]}.pdf"))


def test_text_in_a_workbook_has_room_in_its_row(made):
    """A program that does not measure the text itself would lay its second line over the next row (one was seen to)."""
    out, _ = made
    sheet = openpyxl.load_workbook(out / "worksheets" / "B01.xlsx").active
    width = {c.column_letter: sheet.column_dimensions[c.column_letter].width for c in sheet[7]}
    told = [
        (cell.row, -(-len(cell.value) // width[cell.column_letter]))
        for row in sheet.iter_rows(min_row=8)
        for cell in row
        if isinstance(cell.value, str)
        and cell.alignment.wrap_text
        and not sheet.column_dimensions[cell.column_letter].hidden
    ]
    assert max(lines for _, lines in told) > 1
    assert all((sheet.row_dimensions[row].height or 15) >= 12 * lines for row, lines in told)
    caution = next(merged for merged in sheet.merged_cells.ranges if merged.min_row == 3)
    assert sheet.cell(3, 1).alignment.wrap_text
    assert sum(width[c.column_letter] for c in sheet[7][: caution.max_col]) < 200


def test_a_workbook_offers_only_words_and_prints_two_pages_wide(made):
    out, lines = made
    book = openpyxl.load_workbook(out / "worksheets" / "B01.xlsx")
    sheet = book.active
    names = [cell.value for cell in sheet[7]]
    assert names[:2] == ["code", "line_of"]
    assert [sheet.cell(r, 1).value for r in range(8, sheet.max_row + 1)] == [
        "*",
        *lines.loc[lines["boat_id"] == "B01", "code"],
    ]
    word = wording_of(Words()).word
    offered = {rule.formula1 for rule in sheet.data_validations.dataValidation if rule.type == "list"}
    assert f'"{",".join(word("result", r) for r in tables.RESULTS)}"' in offered
    assert f'"{",".join(word("method", m) for m in tables.METHODS)}"' in offered
    assert (sheet.freeze_panes, sheet.print_title_rows) == ("D8", "$6:$7")
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (2, 0)
    assert sheet.print_title_cols == "$A:$C"
    assert sheet.protection.sheet
    assert not sheet.cell(9, names.index("result") + 1).protection.locked
    assert sheet.cell(9, 1).protection.locked


def test_the_priority_workbook_holds_both_lists_as_numbers_and_days(made):
    out, _ = made
    book = openpyxl.load_workbook(out / "priority.xlsx")
    assert len(book.worksheets) == 2
    count = 0
    for sheet in book:
        names = [cell.value for cell in sheet[5]]
        rows = list(sheet.iter_rows(min_row=6, values_only=True))
        count += len(rows)
        chance = names.index("chance")
        assert all(row[chance] is None or 0 <= row[chance] <= 1 for row in rows)
        assert [row[0] for row in rows] == sorted(row[0] for row in rows)
        assert sheet.auto_filter.ref
        assert sheet.freeze_panes == "H6"
    with built() as con:
        assert count == con.execute("SELECT count(*) FROM priority").fetchall()[0][0]


def _events(path: Path) -> dict[str, icalendar.Event]:
    calendar = icalendar.Calendar.from_ical(path.read_bytes())
    return {str(event["uid"]): event for event in calendar.walk("VEVENT")}


def test_the_calendar_has_an_event_a_visit_without_a_clock(made):
    out, _ = made
    with built() as con:
        visits = con.execute("SELECT DISTINCT boat_id, starts_on, slot_id FROM haul_plan").fetchall()
    events = _events(out / "haul_plan.ics")
    assert len(events) == len(visits) > 0
    assert sorted(event["dtstart"].dt for event in events.values()) == sorted(day for _, day, _ in visits)
    assert {event["dtstamp"].dt.date() for event in events.values()} == {fixture.AS_OF}
    assert all("fit for sea" in event["description"] for event in events.values())


def test_a_visit_that_moves_keeps_its_uid(made, tmp_path):
    with built() as con:
        con.execute("UPDATE haul_plan SET starts_on = starts_on + 7")
        write(con, tmp_path)
    before, after = _events(made[0] / "haul_plan.ics"), _events(tmp_path / "haul_plan.ics")
    assert set(before) == set(after)
    assert all(after[u]["dtstart"].dt - before[u]["dtstart"].dt == timedelta(days=7) for u in before)


def test_equal_tables_give_equal_bytes(made, tmp_path):
    with built() as con:
        again = write(con, tmp_path)
    differ = [p.name for p in again if p.read_bytes() != (made[0] / p.relative_to(tmp_path)).read_bytes()]
    assert len(again) > 30
    assert differ == []


def test_codes_stay_with_their_lines_and_are_kept_for_ever():
    with built() as con:
        list_lines(con, as_of=fixture.AS_OF)
        first = dict(con.execute("SELECT boat_id || '/' || fitting_id, code FROM worksheet_lines").fetchall())
        list_lines(con, as_of=fixture.AS_OF)
        assert dict(con.execute("SELECT boat_id || '/' || fitting_id, code FROM worksheet_lines").fetchall()) == first
        later = fixture.AS_OF + timedelta(days=365)
        con.execute("DELETE FROM priority WHERE boat_id = 'B01'")
        list_lines(con, as_of=later)
        kept = con.execute("SELECT code, is_current FROM worksheet_lines WHERE printed_for = $d", {"d": fixture.AS_OF})
        assert dict(kept.fetchall()) == dict.fromkeys(first.values(), False)
        new = [code for (code,) in con.execute("SELECT code FROM worksheet_lines WHERE is_current").fetchall()]
        assert len(new) > 0
        assert not set(new) & set(first.values())


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_word_that_a_sheet_offers_is_read_back_as_what_it_says(language):
    wording, rules = wording_of(Words(language=language)), Rules(date(2027, 1, 1))
    offered = {
        "result": ("result", tables.RESULTS),
        "method": ("method", tables.METHODS),
        "scope": ("scope", tables.SCOPES),
    }
    columns = {c.name: c for c in tables.INSPECTIONS.columns}
    for name, (group, values) in offered.items():
        told = {v: read_cell(tables.INSPECTIONS, columns[name], wording.word(group, v), rules=rules) for v in values}
        assert {v: reading.value for v, reading in told.items()} == {v: v for v in values}
    for name, key, values in (
        ("indication_form", "form.", ("linear", "rounded")),
        ("surface_cleaned", "yes_no.", ("yes", "no")),
        ("action", "done.did_", tables.ACTIONS_TAKEN),
    ):
        for value in values:
            reading = read_cell(tables.INSPECTIONS, columns[name], wording.say(f"papers.{key}{value}"), rules=rules)
            assert reading.value == {"yes": "true", "no": "false"}.get(value, value)


def test_german_papers_say_it_in_german(tmp_path):
    with built() as con:
        write(con, tmp_path, settings=replace(SETTINGS, words=Words(language="de")))
    text = " ".join(text_of(tmp_path / "worksheets" / "B01.pdf"))
    assert wording_of(Words(language="de")).say("common.caution") in text
    assert "Erfundene Daten" in text
    assert "no indication" not in text
    assert PdfReader(tmp_path / "guidance.pdf").trailer["/Root"]["/Lang"] == "de"


def test_a_boat_without_a_line_says_that_this_is_no_clear_mark(tmp_path):
    with built() as con:
        con.execute("DELETE FROM haul_plan WHERE boat_id = 'B01'")
        con.execute("UPDATE priority SET action = 'leave', draw = false WHERE boat_id = 'B01'")
        write(con, tmp_path)
    pages = text_of(tmp_path / "worksheets" / "B01.pdf")
    assert len(pages) == 1
    assert "That is no clear mark" in pages[0]


def test_a_workbook_holds_no_day_of_its_making(made):
    book = openpyxl.load_workbook(io.BytesIO((made[0] / "priority.xlsx").read_bytes()))
    assert book.properties.created.date() == fixture.AS_OF
