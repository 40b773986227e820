"""Whatever stands in the files: rows read = rows used + rows set aside, and both readers tell the same story.

Source: an independent count of the rows by Python's csv module where the file is one it can read, else by what the
store holds; the quick reader (DuckDB's) and the exact one (ours) check each other.
"""

from __future__ import annotations

import csv
import io
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bobstay.errors import BobstayError
from bobstay.ingest import load, staging
from bobstay.tables import INSPECTIONS
from ingest_files import BOATS, FITTINGS, LOOKS, Taken, fleet, take

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FILES = {"boats_csv": BOATS.encode(), "fittings_csv": FITTINGS.encode(), "looks_csv": LOOKS.encode()}
SPLINTERS = st.sampled_from(
    [
        b'"',
        b",",
        b"\n",
        b"\r\n",
        b"\r",
        b"\x00",
        b";",
        b"\xe5",
        "é".encode(),
        b" ",
        b"\t",
        b'""',
        b"0",
        b"B2",
        b"~",
        b"/",
    ]
)


@st.composite
def mutated(draw: Any) -> dict[str, bytes]:
    """Draw the small fleet's files with a few bytes put in, taken out, or lines doubled, below the header."""
    files = dict(FILES)
    for _ in range(draw(st.integers(1, 4))):
        name = draw(st.sampled_from(sorted(files)))
        content = files[name]
        place = draw(st.integers(content.index(b"\n") + 1, len(content)))
        match draw(st.sampled_from(["put in", "take out", "double"])):
            case "put in":
                files[name] = content[:place] + draw(SPLINTERS) + content[place:]
            case "take out":
                files[name] = content[:place] + content[place + draw(st.integers(1, 9)) :]
            case _:
                files[name] = content + content[place:]
    return files


@contextmanager
def exact_reader_only() -> Iterator[None]:
    """Keep DuckDB's own reader out of it."""
    quick = load.opened_text
    load.opened_text = lambda path, **options: replace(quick(path, **options), scan=None)
    try:
        yield
    finally:
        load.opened_text = quick


def _told(folder: Path, files: dict[str, bytes]) -> Taken | tuple[str, ...]:
    """Return what is stored, or the error."""
    try:
        return take(folder, fleet(folder, **files))
    except BobstayError as fault:
        return fault.lines()


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(files=mutated())
def test_every_row_is_used_or_set_aside_whichever_reader_reads(tmp_path_factory, files):
    quick = _told(tmp_path_factory.mktemp("quick"), files)
    with exact_reader_only():
        exact = _told(tmp_path_factory.mktemp("exact"), files)
    if isinstance(quick, tuple) or isinstance(exact, tuple):
        assert quick == exact
        return
    assert quick.tables == exact.tables
    for report in quick.report.files:
        used = [r for r in quick.tables[report.table] if _file(quick, r["file_id"]) == report.file]
        aside = [r for r in quick.tables["set_aside"] if r["file"] == report.file]
        assert report.rows_read == report.rows_used + report.rows_set_aside == len(used) + len(aside)
        lines = sorted(r["line"] for r in [*used, *aside])
        assert len(set(lines)) == len(lines)
        content = files[report.file.replace(".", "_")]
        assert lines[-1] <= content.count(b"\n") + content.count(b"\r") + 1
        if b'"' not in content and b"\r" not in content:
            assert report.rows_read == sum(bool(line) for line in content.split(b"\n")[1:])


def _file(taken: Taken, file_id: int) -> str:
    return next(f["file"] for f in taken.tables["files"] if f["file_id"] == file_id)


CELLS = st.text(st.sampled_from('ab1,;"\n é\u00a0\t='), max_size=6)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rows=st.lists(st.tuples(CELLS, CELLS), min_size=1, max_size=5), all_quoted=st.booleans())
def test_notes_come_back_as_a_csv_writer_wrote_them(tmp_path_factory, rows, all_quoted):
    """Source: Python's csv.writer; text cells are trimmed and their white space collapsed, extra columns are not."""
    text = io.StringIO()
    writer = csv.writer(text, quoting=csv.QUOTE_ALL if all_quoted else csv.QUOTE_MINIMAL, lineterminator="\n")
    writer.writerow(["inspection_id", "boat_id", "inspected_on", "method", "result", "note", "mine"])
    for number, (note, mine) in enumerate(rows):
        writer.writerow([f"N{number}", "B1", "2012", "visual", "relevant", note, mine])
    folder = tmp_path_factory.mktemp("notes")
    taken = take(folder, fleet(folder, looks_csv=text.getvalue()))
    looks = taken.tables["inspections"]
    assert [r["note"] for r in looks] == [" ".join(note.split()) or None for note, _ in rows]
    import json

    assert [json.loads(r["extra"])["mine"] if r["extra"] else "" for r in looks] == [mine for _, mine in rows]


VALUES = {
    "date": [
        "2012-02-01",
        "2012",
        "2012~",
        "../2012",
        "XXXX",
        "3/4/19",
        "2019-02-30",
        "2031-01-01",
        " 2012-02-01 ",
        "x",
        "",
    ],
    "choice": [
        "visual",
        "Visual",
        "no_indication",
        "NO INDICATION",
        "relevant",
        "removed",
        "scheduled",
        "open",
        "x",
        "",
    ],
    "yes_no": ["yes", "NO", "y", "1", "perhaps", ""],
    "number": ["1", "1.5", "-0", "1e1", "1,5", "1_5", "nan", "inf", "99999", " 7 ", ""],
    "id": ["B1", "B2", "CP1", "KB1", "L1", " B1", "b1", ""],
    "text": ["a", " a  b ", ""],
}


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_no_cell_makes_both_readers_differ_or_loses_a_row(tmp_path_factory, data):
    columns = INSPECTIONS.columns
    rows = data.draw(
        st.lists(st.tuples(*(st.sampled_from(VALUES[c.kind]) for c in columns)), min_size=1, max_size=6), label="rows"
    )
    good = ["Z1", "B1", "CP1", "2012-02-01", "visual", "relevant", *[""] * (len(columns) - 6)]
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([[c.name for c in columns], good, *rows])
    files = {**FILES, "looks_csv": text.getvalue().encode()}
    quick = _told(tmp_path_factory.mktemp("quick"), files)
    with exact_reader_only():
        exact = _told(tmp_path_factory.mktemp("exact"), files)
    assert isinstance(quick, Taken)
    assert isinstance(exact, Taken)
    assert quick.tables == exact.tables
    assert quick.report.files[2].rows_read == len(rows) + 1
    for look in quick.tables["inspections"]:
        unread = {r["column"] for r in quick.tables["cells_unread"] if r["line"] == look["line"]}
        assert set((look["cells_unread"] or "").split(";")) - {""} == unread
        assert all(look[name] is None for name in unread)


def test_the_quick_reader_is_the_one_that_reads_clean_files(tmp_path, monkeypatch):
    """Without this the two readers would agree for the wrong reason."""

    def never(*_: Any) -> None:
        pytest.fail("the exact reader was asked")

    monkeypatch.setattr(staging, "_streamed", never)
    assert take(tmp_path, fleet(tmp_path)).report.rows_read == 8
