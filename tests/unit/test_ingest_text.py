"""What a text file is like, and how its rows are taken apart, byte by byte.

Sources: RFC 4180 section 2 for quoting; Python's csv module in strict mode as an independent reader.
"""

from __future__ import annotations

import csv
import hashlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bobstay.ingest import lines, preflight
from bobstay.ingest.headers import best_delimiter, recognised, rows_of


def _facts(tmp_path, content, delimiter=","):
    path = tmp_path / "f.csv"
    path.write_bytes(content)
    return preflight.looked_at(path, delimiter, width=2, after=1)


PLAIN = [
    b"a,b\n1,2\n",
    b"a,b\r\n1,2\r\n",
    b"a,b\n1,2",
    b'a,b\n"1","2"\n',
    b'a,b\n"x, ""y"", z",""\n',
    b'a,b\n"""hi""",""""\n',
    b'a,b\n"a,"",b",c\n',
    b"a, title, of four, cells\n1,2\n",
    b'\xef\xbb\xbf"a",b\n1,2\n',
    "a,b\nå,ß\n".encode(),
]


@pytest.mark.parametrize("content", PLAIN)
def test_clean_bytes_are_plain(tmp_path, content):
    facts = _facts(tmp_path, content)
    assert facts.is_plain
    assert facts.line_count == 2
    assert facts.sha256 == hashlib.sha256(content).hexdigest()


ODD = {
    "quoted newline": b'a,b\n"1\n2",3\n',
    "unclosed quote": b'a,b\n"1,2\n',
    "lone quote": b'a,b\n5" pipe,2\n',
    "text after a closing quote": b'a,b\n"1"x,2\n',
    "space before a quote": b'a,b\n1, "2"\n',
    "NUL": b"a,b\n1,\x002\n",
    "Windows-1252": b"a,b\n\xe5,2\n",
    "UTF-16": "a,b\n1,2\n".encode("utf-16"),
    "UTF-16 without a mark": "a,b\n1,2\n".encode("utf-16-le"),
    "blank line": b"a,b\n\n1,2\n",
    "blank Windows line": b"a,b\r\n\r\n1,2\r\n",
    "bare carriage return": b"a,b\n1\r2,3\n",
    "old Mac line ends": b"a,b\r1,2\r",
    "an empty cell too many": b"a,b\n1,2,\n",
    "a cell too few": b"a,b\n1\n",
    "a delimiter in no quotes": b'a,b\n"1,1",2,3\n',
    "very long line": b"a,b\n" + b"x" * (preflight.QUICK_LINE + 1) + b",2\n",
    "very long last line": b"a,b\n1," + b"x" * (preflight.QUICK_LINE + 1),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_bytes_are_left_to_the_exact_reader(tmp_path, name):
    assert not _facts(tmp_path, ODD[name]).is_plain


def test_encodings_are_told_apart(tmp_path):
    assert _facts(tmp_path, b"a,b\n1,2\n").encoding == "utf-8"
    assert _facts(tmp_path, b"\xef\xbb\xbfa,b\n1,2\n").encoding == "utf-8-sig"
    assert _facts(tmp_path, ODD["Windows-1252"]).encoding == "cp1252"
    assert _facts(tmp_path, ODD["UTF-16"]).encoding == "utf-16"
    assert _facts(tmp_path, ODD["UTF-16 without a mark"]).encoding == "utf-16-le"
    assert _facts(tmp_path, b"a,b\n1,\xc3").encoding == "cp1252"  # a sequence cut off by the end is not UTF-8


@pytest.mark.parametrize("size", [1, 2, 3, 7])
@pytest.mark.parametrize("content", [*PLAIN, *(v for k, v in ODD.items() if "long" not in k)])
def test_facts_do_not_depend_on_where_blocks_end(tmp_path, monkeypatch, content, size):
    whole = _facts(tmp_path, content)
    if content.startswith((b"\xef\xbb\xbf", b"\xff\xfe")) or b"\x00" in content:
        size = max(size, 7)  # marks are looked for in the first block
    monkeypatch.setattr(preflight, "BLOCK", size)
    pieces = _facts(tmp_path, content)
    assert (whole.is_plain, whole.encoding, whole.bare_returns) == (
        pieces.is_plain,
        pieces.encoding,
        pieces.bare_returns,
    )


def _rows(content, width=2, after=0):
    return list(lines.records(lines.lines([content]), width=width, delimiter=",", after=after))


def test_an_unclosed_quote_costs_its_own_row_only():
    rows = _rows(b'1,2\n"3,4\n5,6\n7,8\n')
    assert [(r.line, r.fault) for r in rows] == [
        (1, None),
        (2, "a quote is opened and never closed"),
        (3, None),
        (4, None),
    ]


def test_two_unclosed_quotes_do_not_swallow_what_lies_between():
    rows = _rows(b'"1,2\n3,4\n"5,6\n7,8\n')
    assert [r.line for r in rows if r.fault is None] == [2, 4]


def test_a_quoted_line_end_stays_in_its_cell():
    rows = _rows(b'1,"two\nlines"\n3,4\n')
    assert [(r.line, r.cells) for r in rows] == [(1, ("1", "two\nlines")), (3, ("3", "4"))]


FAULTS = {
    b"1,2,3\n": "wrong number of cells",
    b"1\n": "wrong number of cells",
    b"1,\x002\n": "a NUL byte stands in the row",
    b'"1"x,2\n': "text goes on after a closing quote",
    b"1\r1,2\n": "a line end inside the row",
    b"\x81,2\n": "bytes that are neither UTF-8 nor Windows-1252",
}


@pytest.mark.parametrize("content", FAULTS)
def test_rows_that_cannot_be_taken_apart_say_why(content):
    (row,) = _rows(content)
    assert row.fault == FAULTS[content]
    assert row.hint


def test_a_line_over_the_limit_is_not_kept(monkeypatch):
    monkeypatch.setattr(lines, "LINE_LIMIT", 100)
    blocks = [b"1,2\n", *[b"x" * 60] * 50, b"\n3,4\n"]
    rows = list(lines.records(lines.lines(blocks), width=2, delimiter=",", after=0))
    assert [r.line for r in rows] == [1, 2, 3]
    assert rows[1].fault is not None
    assert rows[1].fault.startswith("the line is longer than")
    assert len(rows[1].cells[0]) <= lines.HEAD


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.lists(st.text(st.sampled_from('a",\n é;'), max_size=5), min_size=2, max_size=2), min_size=1, max_size=6)
)
def test_what_a_csv_writer_writes_is_read_back(tmp_path_factory, cells):
    """Source: Python's csv.writer, quoting every cell."""
    path = tmp_path_factory.mktemp("w") / "f.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(cells)
    rows = _rows(path.read_bytes())
    assert [list(r.cells) for r in rows] == [[c or None for c in row] for row in cells]
    has_newline = any("\n" in c for row in cells for c in row)
    assert preflight.looked_at(path, ",", width=2, after=0).is_plain == (not has_newline)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_delimiter_is_the_one_that_shows_known_names(delimiter):
    head = ["A title, with; all\tof them", delimiter.join(["Boat ID", "Fitting-ID", "fitting_type", "MATERIAL"])]
    found = best_delimiter(head)
    header = recognised(rows_of(head, found), shown="f.csv", table=None)
    assert found == delimiter
    assert (header.line, header.table.name) == (2, "fittings")
    assert header.columns == ("boat_id", "fitting_id", "fitting_type", "material")
