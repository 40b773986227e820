"""Clean looks written down as people do: no row is lost, and no finding is ever read as a clear look.

Source: what each look truly was is drawn first and kept beside the file; rows are counted as they are written.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bobstay.mapping.reading import from_tree
from ingest_files import BOATS, FITTINGS, LOOKS, take, write

CLEAR = {"no_indication", "non_relevant", "false"}
# Ways to say one result: known words in six languages, words that are only asked for, and slips.
SAYINGS = {
    "relevant": [
        *("relevant", "RELEVANT", " Relevant ", "crack", "Cracks", "Riss", "fissurée", "grieta", "crack?", "hairline"),
        *("relevnt", "not ok", "n.i.O.", "see photo", "cracked port side, no indication starboard", "no, cracked"),
    ],
    "failed": ["failed", "Broken", "gebrochen", "cassé", "roto", "failure", "fail", "broken, no indication before"],
    "no_indication": [
        *("no_indication", "no indication", "NO-INDICATION", "keine Anzeige", "sans indication", "OK", "o.B."),
        *("no indicaton", "no indication at the pin", "nothing found"),
    ],
    "inconclusive": ["inconclusive", "unclear", "unklar", "rust", "?"],
}
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
PLACES = [("B1", "CP1"), ("B1", "CP2"), ("B2", "KB1")]
QUIET = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]


@dataclass
class Sheet:
    """A file as somebody wrote it: the text, what each line truly says, and how many rows it has."""

    lines: list[str]
    truth: dict[tuple[int, str], str] = field(default_factory=dict)
    row_count: int = 0


def day(draw: Any, form: str) -> str:
    year, month, number = draw(st.integers(2011, 2019)), draw(st.integers(1, 12)), draw(st.integers(1, 28))
    forms = {
        "iso": f"{year}-{month:02d}-{number:02d}",
        "dmy": f"{number}.{month}.{year}",
        "named": f"{number} {MONTHS[month - 1]} {year}",
        "rough": f"{year}~",
    }
    return forms[form]


def saying(draw: Any, truth: str) -> str:
    word = draw(st.sampled_from(SAYINGS[truth]))
    if draw(st.integers(0, 9)) == 0 and len(word) > 3:  # a letter is lost or stands twice
        place = draw(st.integers(0, len(word) - 1))
        word = word[:place] + word[place + 1 :] if draw(st.booleans()) else word[: place + 1] + word[place:]
    return draw(st.sampled_from([word, word, word.upper(), f" {word}", word.replace(" ", "  ")]))


def cell(text: str, mark: str) -> str:
    return f'"{text}"' if mark in text else text


def noise(draw: Any, sheet: Sheet, mark: str, width: int) -> None:
    """Write a line that is no record: blank, a total, a note, or a row of the wrong width."""
    match draw(st.sampled_from(["blank", "total", "note", "ragged"])):
        case "blank":
            sheet.lines.append("")
        case "total":
            sheet.lines.append(mark.join(["Total", *["1"] * (width - 1)]))
            sheet.row_count += 1
        case "note":
            sheet.lines.append("Note: as told by the yard")
            sheet.row_count += 1
        case _:
            sheet.lines.append(mark.join(["B1", "CP1", "2012-02-01", "visual", "relevant", "one", "two", "three"]))
            sheet.row_count += 1


@st.composite
def long_sheets(draw: Any) -> tuple[Sheet, bytes]:
    """Draw a file of one row a look; return it and its bytes."""
    mark = draw(st.sampled_from([",", ";", "\t"]))
    form = draw(st.sampled_from(["iso", "dmy", "named", "rough"]))
    sheet = Sheet(["Looks of the year"] if draw(st.booleans()) else [])
    sheet.lines.append(mark.join(["Boat_ID", "fitting id", "Inspected-On", "METHOD", "Result"]))
    for _ in range(draw(st.integers(1, 6))):
        if draw(st.integers(0, 3)) == 0:
            noise(draw, sheet, mark, 5)
        boat, fitting = draw(st.sampled_from(PLACES))
        truth = draw(st.sampled_from(sorted(SAYINGS)))
        method = draw(st.sampled_from(["penetrant", "dye pen", "Sichtprüfung", "UT", "visual", "kicked it"]))
        cells = [boat, fitting, day(draw, form), method, saying(draw, truth)]
        sheet.lines.append(mark.join(cell(text, mark) for text in cells))
        sheet.truth[len(sheet.lines), fitting] = truth
        sheet.row_count += 1
    return sheet, encoded(draw, sheet)


def encoded(draw: Any, sheet: Sheet) -> bytes:
    text = draw(st.sampled_from(["\n", "\r\n"])).join(sheet.lines) + draw(st.sampled_from(["", "\n"]))
    return text.encode(draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])))


def check(sheet: Sheet, taken: Any, *, part_counts: tuple[int, ...] = (1,)) -> None:
    reports = [r for r in taken.report.files if r.file == "mess.csv"]
    ids = {f["file_id"] for f in taken.tables["files"] if f["file"] == "mess.csv"}
    looks = [r for r in taken.tables["inspections"] if r["file_id"] in ids]
    aside = [r for r in taken.tables["set_aside"] if r["file"].startswith("mess.csv")]
    assert len(reports) in part_counts
    assert sum(r.rows_read for r in reports) == sheet.row_count == len(looks) + len(aside)
    assert all(r.rows_read == r.rows_used + r.rows_set_aside for r in reports)
    assert all(r["reason"] for r in aside)
    for look in looks:
        if sheet.truth.get((look["line"], look["fitting_id"])) != "no_indication":
            assert look["result"] not in CLEAR, look


@settings(max_examples=25, deadline=None, suppress_health_check=QUIET)
@given(drawn=long_sheets())
def test_looks_in_our_columns_however_they_are_written(tmp_path_factory, drawn):
    sheet, content = drawn
    folder = tmp_path_factory.mktemp("mess")
    files = write(folder, boats_csv=BOATS, fittings_csv=FITTINGS, looks_csv=LOOKS, mess_csv=content)
    check(sheet, take(folder, files))


MAPPING = {
    "files": ["mess.csv"],
    "dates": "dmy",
    "words": {"result": {"no_indication": ["OK", "o.B."], "relevant": ["hairline"]}},
    "part": [
        {
            "table": "inspections",
            "skip": ["^Total", "^Note"],
            "columns": {
                "Boat_ID": "boat_id",
                "fitting id": "fitting_id",
                "Inspected-On": "inspected_on",
                "METHOD": "method",
                "Result": "result",
            },
        }
    ],
}


@settings(max_examples=25, deadline=None, suppress_health_check=QUIET)
@given(drawn=long_sheets())
def test_looks_read_by_a_mapping_however_they_are_written(tmp_path_factory, drawn):
    sheet, content = drawn
    folder = tmp_path_factory.mktemp("mess")
    files = write(folder, boats_csv=BOATS, fittings_csv=FITTINGS, looks_csv=LOOKS, mess_csv=content)
    taken = take(folder, files, mappings=[from_tree(MAPPING, source="m.toml", sha256="0")])
    check(sheet, taken)
    skipped = [r["line"] for r in taken.tables["set_aside"] if r["reason"] == "the mapping says to skip such rows"]
    told = [n for n, line in enumerate(sheet.lines, start=1) if line.startswith(("Total", "Note"))]
    assert skipped == told


@st.composite
def wide_sheets(draw: Any) -> tuple[Sheet, bytes]:
    """Draw a file of one row a visit with a column for each fitting of boat B1."""
    mark = draw(st.sampled_from([",", ";", "\t"]))
    sheet = Sheet([mark.join(["Day", "plate port", "plate stbd"])])
    for _ in range(draw(st.integers(1, 5))):
        truths = [draw(st.sampled_from([*sorted(SAYINGS), ""])) for _ in range(2)]
        row = [day(draw, "dmy"), *(cell(saying(draw, truth), mark) if truth else "" for truth in truths)]
        sheet.lines.append(mark.join(row))
        for fitting, truth in zip(("CP1", "CP2"), truths, strict=True):
            if truth:
                sheet.truth[len(sheet.lines), fitting] = truth
        sheet.row_count += max(1, sum(map(bool, truths)))  # a visit that says nothing is a row set aside
    return sheet, encoded(draw, sheet)


WIDE = {
    "files": ["mess.csv"],
    "dates": "dmy",
    "part": [
        {
            "table": "inspections",
            "shape": "wide",
            "columns": {"Day": "inspected_on"},
            "constants": {"boat_id": "B1", "method": "penetrant"},
            "wide": {"columns": {"plate port": "CP1", "plate stbd": "CP2"}},
        }
    ],
}


@settings(max_examples=25, deadline=None, suppress_health_check=QUIET)
@given(drawn=wide_sheets())
def test_fittings_as_columns_however_they_are_written(tmp_path_factory, drawn):
    sheet, content = drawn
    folder = tmp_path_factory.mktemp("wide")
    files = write(folder, boats_csv=BOATS, fittings_csv=FITTINGS, looks_csv=LOOKS, mess_csv=content)
    check(
        sheet, take(folder, files, mappings=[from_tree(WIDE, source="m.toml", sha256="0")]), part_counts=(1, 2)
    )  # an empty column is no part
