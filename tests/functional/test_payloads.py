"""Texts that would be code elsewhere, in every text of every table, carried through `bobstay run` to every output.

Source of what must hold: OWASP on CSV injection and cross-site scripting, ECMA-48, RFC 8259 (JSON), from memory.
"""

from __future__ import annotations

import csv
import json
import unicodedata
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pandas as pd
import pyarrow as pa
import pypdf
import pytest
from pyarrow import parquet

from bobstay.told import visible
from payloads import MARK, PAYLOADS, TABLES, write_fleet

FORMULA_STARTS = tuple("=+-@\t\r\n＝＋－＠")
# The plain estimate: what is asked here does not depend on how a number was found.
SETTINGS = '[estimate]\ndetection = "perfect"\npooling = "none"\nboat_effect = false\n'


def cleaned(text: str) -> str:
    """Return a payload as a load stores it: composed, white space collapsed."""
    return " ".join(unicodedata.normalize("NFC", text).split())


@pytest.fixture(scope="module")
def ran(tmp_path_factory, bobstay):
    """The folder in which the hostile fleet was run once, with what the terminal showed."""
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "in").mkdir()
    (folder / "plain.toml").write_text(SETTINGS)
    paths = write_fleet(folder / "in")
    before = {p for p in folder.parent.rglob("*") if p.is_file()}
    done = bobstay("run", *paths, "--out", folder / "out", "--settings", folder / "plain.toml", cwd=folder)
    if done.code not in {0, 4}:
        pytest.fail(f"bobstay run ended with {done.code}: {done.err}")
    new = {p for p in folder.parent.rglob("*") if p.is_file()} - before
    return folder / "out", done, new


class _Page(HTMLParser):
    """Gathers what a page is made of: elements, attributes, links, and all its text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: set[str] = set()
        self.attributes: set[str] = set()
        self.links: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.elements.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [value or "" for name, value in attrs if name in {"href", "src", "action", "xlink:href"}]

    def handle_data(self, data):
        self.text.append(data)


def pages(out: Path) -> dict[Path, _Page]:
    found = {}
    for path in sorted(out.rglob("*.html")):
        found[path] = _Page()
        found[path].feed(path.read_text(encoding="utf-8"))
        found[path].close()
    return found


def test_no_element_attribute_or_link_of_a_payload_is_in_a_page(ran):
    out, _, _ = ran
    read = pages(out)
    assert len(read) > len(PAYLOADS)  # a page a boat, and the others
    for path, page in read.items():
        assert MARK not in page.elements, path
        assert not {a for a in page.attributes if a.startswith("on")}, path
        assert "script" not in page.elements, path
        for link in page.links:
            assert not link.lower().startswith(("javascript:", "data:text", "http:", "//")), (path, link)


def test_pages_show_the_payloads_as_text(ran):
    out, _, _ = ran
    text = "\n".join("".join(page.text) for page in pages(out).values())
    for payload in (p for p in PAYLOADS if p.isprintable() and cleaned(p) == p):
        assert payload in text, payload
    assert "bobstay" + "marked" not in text.replace("'bobstay' ~ 'marked'", "")


def test_pages_and_charts_hold_no_control_character(ran):
    out, _, _ = ran
    for path in pages(out):
        used = set(path.read_text(encoding="utf-8"))
        bad = {c for c in used - {"\n", "\t"} if unicodedata.category(c) in {"Cc", "Cs"}}
        bad |= used & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
        assert not bad, (path, bad)


def test_every_boat_has_a_page_inside_the_folder(ran):
    out, _, new = ran
    assert len(list((out / "boats").glob("*.html"))) == len({cleaned(p) for p in PAYLOADS})
    assert all(p.is_relative_to(out) for p in new), [p for p in new if not p.is_relative_to(out)]
    links = {link.partition("#")[0] for link in pages(out)[out / "index.html"].links}
    assert all((out / link).resolve().is_file() for link in links if link)


def test_csv_cells_begin_no_formula_and_agree_with_parquet(ran):
    out, _, _ = ran
    files = sorted((out / "tables").glob("*.csv"))
    assert len(files) > 15
    for path in files:
        rows = parquet.read_table(path.with_suffix(".parquet"))
        with path.open(encoding="utf-8", newline="") as file:
            names, *cells = csv.reader(file)
        assert names == rows.column_names
        assert len(cells) == len(rows)
        for place, field in enumerate(rows.schema):
            if not (pa.types.is_string(field.type) or pa.types.is_large_string(field.type)):
                continue
            for cell, text in zip((row[place] for row in cells), rows.column(place).to_pylist(), strict=True):
                assert not cell.startswith(FORMULA_STARTS), (path.name, field.name)
                assert cell in {text or "", f"'{text}"}, (path.name, field.name)


def test_texts_come_through_unchanged(ran):
    out, _, _ = ran
    priority = parquet.read_table(out / "tables" / "priority.parquet").to_pandas()
    wanted = {cleaned(p) for p in PAYLOADS}
    for column in ("boat_id", "fitting_id"):
        assert set(priority[column]) == wanted, column
    for column in ("fitting_type", "material"):  # spellings that differ by case alone make one class
        assert set(priority[column]) == wanted - {"null"}, column
    files = pd.read_csv(out / "tables" / "files.csv")
    assert (files["rows_read"] == files["rows_used"] + files["rows_set_aside"]).all()
    assert set(files["table"]) == set(TABLES)
    aside = parquet.read_table(out / "tables" / "set_aside.parquet").to_pandas()
    looks = aside[aside["table"] == "inspections"]
    assert {cleaned(json.loads(row)["note"]) for row in looks["row_json"]} == wanted
    json.loads((out / "manifest.json").read_text(encoding="utf-8"))


def test_workbooks_hold_texts_and_no_formula_or_link(ran):
    """Read by openpyxl, a program of others: whatever begins with = must be a text."""
    out, _, _ = ran
    books = sorted(out.rglob("*.xlsx"))
    assert len(books) > len(PAYLOADS)
    seen: set[str] = set()
    for path in books:
        for sheet in openpyxl.load_workbook(path):
            for cell in (c for row in sheet.iter_rows() for c in row if c.value is not None):
                assert cell.data_type != "f", (path.name, cell.coordinate)
                assert cell.hyperlink is None, (path.name, cell.coordinate)
                seen.add(str(cell.value))
    assert {cleaned(p) for p in PAYLOADS if p.isprintable() and p.isascii()} <= seen


# What an event may say: RFC 5545, section 3.6.1, as far as ours go.
PROPERTIES = {"BEGIN", "END", "VERSION", "PRODID", "X-WR-CALNAME", "SUMMARY", "DTSTART", "DTEND", "DTSTAMP", "UID"}
PROPERTIES |= {"DESCRIPTION", "TRANSP", "LOCATION", "CATEGORIES", "STATUS", "SEQUENCE"}


def test_the_calendar_has_no_line_of_a_payload(ran):
    """Unfolded as RFC 5545, section 3.1 says; text escaped as 3.3.11 says."""
    out, _, _ = ran
    content = (out / "haul_plan.ics").read_bytes().decode("utf-8")
    lines = content.replace("\r\n ", "").removesuffix("\r\n").split("\r\n")
    assert {line.partition(":")[0].partition(";")[0] for line in lines} <= PROPERTIES
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == len({cleaned(p) for p in PAYLOADS})
    assert all(c.isprintable() for line in lines for c in line)
    assert any("DROP TABLE boats" in line for line in lines)


def test_worksheets_on_paper_hold_the_payloads_as_text(ran):
    """Read by pypdf, a program of others. Letters that our fonts lack are boxes: those payloads are left out."""
    out, _, _ = ran
    sheets = sorted((out / "worksheets").glob("*.pdf"))
    assert len(sheets) > len({cleaned(p) for p in PAYLOADS})
    readers = [pypdf.PdfReader(path) for path in sheets]
    text = "".join("".join(page.extract_text() for page in reader.pages) for reader in readers)
    flat = "".join(text.split())  # a line may be broken anywhere
    for payload in (cleaned(p) for p in PAYLOADS):
        if payload.isascii():
            assert "".join(visible(payload).split()) in flat, payload


def test_no_paper_does_anything(ran):
    """Bulletin, wall sheet, letters and worksheets: no script, no link, no action, and no sheet is empty."""
    out, _, _ = ran
    papers = sorted(out.rglob("*.pdf"))
    assert {"guidance.pdf", "wall_sheet.pdf"} <= {path.name for path in papers}
    assert [path for path in papers if path.parent.name == "letters"]
    for path in papers:
        reader = pypdf.PdfReader(path)
        assert not {"/JavaScript", "/OpenAction", "/AA"} & set(reader.trailer["/Root"]), path
        assert all("/Annots" not in page and page.extract_text().strip() for page in reader.pages), path


def check_terminal(done) -> None:
    for stream in (done.out, done.err):
        assert all(c == "\n" or c.isprintable() for c in stream)
        assert "Traceback" not in stream


def test_the_terminal_is_steered_by_nothing(ran, bobstay):
    out, done, _ = ran
    check_terminal(done)
    for command in ("status", "rank", "settings"):
        for more in ((), ("--json",)):
            shown = bobstay(command, *more, "--out", out)
            assert shown.code == 0, shown.err
            check_terminal(shown)
            if more:
                json.loads(shown.out)


# A process for each is slow: those that steer a terminal, a template, a query, a path and a page.
@pytest.mark.parametrize("k", [1, 9, 16, 17, 18, 20])
def test_questions_about_a_hostile_boat_are_answered(ran, bobstay, k):
    out, _, _ = ran
    boat = cleaned(PAYLOADS[k])
    told = bobstay("explain", "--json", "--out", out, "--", boat, boat)
    assert told.code == 0, told.err
    json.loads(told.out)
    check_terminal(told)
    history = bobstay("history", "--out", out, "--", boat)
    assert history.code == 0, history.err
    check_terminal(history)
    wrong = bobstay("explain", "--out", out, "--", f"{boat} not there")
    assert wrong.code == 2
    assert len(wrong.lines) == 3
    check_terminal(wrong)
