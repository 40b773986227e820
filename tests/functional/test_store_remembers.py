"""The store over the seasons: what is known, what is newer, what needs a name, who is who. Expected by hand.

Source: the sentences of the README's "Next season, and corrections"; common practice in record keeping, no publication.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import duckdb
import pytest

from bobstay.ingest import Confirmation
from ingest_files import BOATS, FITTINGS, LOOKS, Taken, fleet, take, write

if TYPE_CHECKING:
    from pathlib import Path

WHO = Confirmation("A. Nwosu", "tested again: a scratch")
HEAD = "inspection_id,boat_id,fitting_id,inspected_on,method,result,disposition,indication_length_mm,action\n"
FOUND = f"{HEAD}L9,B1,CP1,2014-05-01,penetrant,relevant,open,4,none\n"


def superseded(folder: Path) -> list[dict[str, Any]]:
    """Return the rows that newer ones took the place of."""
    with duckdb.connect(str(folder / "s.duckdb"), read_only=True) as con:
        cursor = con.execute("SELECT * FROM superseded ORDER BY file, line, by_file, by_line")
        names = [d[0] for d in cursor.description or ()]
        return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def looks(taken: Taken) -> dict[str, str]:
    """Return the result of each look that has an id."""
    return {r["inspection_id"]: r["result"] for r in taken.tables["inspections"] if r["inspection_id"]}


def counts(taken: Taken) -> tuple[int, ...]:
    """Return rows read, used, set aside, known and superseding of the last file."""
    last = taken.tables["files"][-1]
    names = ("rows_read", "rows_used", "rows_set_aside", "rows_known", "rows_superseding")
    return tuple(last[name] for name in names)


@pytest.fixture
def season(tmp_path):
    """A store that holds the small fleet and one indication."""
    take(tmp_path, fleet(tmp_path, found_csv=FOUND))
    return tmp_path


def test_a_grown_file_brings_only_what_is_new(season):
    taken = take(season, write(season, looks_csv=f"{LOOKS}L4,B1,CP1,2016-02-01,visual,no_indication,\n"))
    assert counts(taken) == (4, 4, 0, 3, 0)
    assert sorted(looks(taken)) == ["L1", "L2", "L3", "L4", "L9"]
    assert [(r["file_id"], r["line"]) for r in taken.tables["inspections"] if r["inspection_id"] == "L1"] == [(3, 2)]
    assert superseded(season) == []


def test_a_corrected_row_takes_the_place_of_the_old_which_is_kept(season):
    taken = take(
        season, write(season, looks_csv=LOOKS.replace("2015-11,ultrasonic,inconclusive", "2015-11,ultrasonic,relevant"))
    )
    assert counts(taken) == (3, 3, 0, 2, 1)
    assert looks(taken)["L3"] == "relevant"
    (old,) = superseded(season)
    assert (old["table"], old["boat_id"], old["change"]) == ("inspections", "B2", "other")
    assert (old["file"], old["line"], old["by_file"], old["by_line"]) == ("looks.csv", 4, "looks.csv#2", 4)
    assert old["what"] == "result: inconclusive -> relevant"
    assert json.loads(old["row_json"])["result"] == "inconclusive"
    assert old["confirmed_by"] is None


WEAKER = {
    "L9,B1,CP1,2014-05-01,penetrant,no_indication,open,4,none": "an indication would no longer be one",
    "L9,B1,CP1,2014-05-01,penetrant,inconclusive,open,4,none": "an indication would no longer be one",
    "L9,B1,CP1,2014-05-01,penetrant,false,open,4,none": "an indication would no longer be one",
    "L9,B1,CP1,2014-05-01,penetrant,relevant,unfounded,4,none": "an indication would no longer be one",
    "L9,B1,CP1,2014-05-01,penetrant,relevant,open,,none": "the length of an indication would be gone",
    "L9,B1,CP2,2014-05-01,penetrant,relevant,open,4,none": (
        "the same inspection_id would tell of another fitting or another day"
    ),
    "L9,B1,CP1,2011-05-01,penetrant,relevant,open,4,none": (
        "the same inspection_id would tell of another fitting or another day"
    ),
}


@pytest.mark.parametrize("row", WEAKER)
def test_no_row_weakens_an_indication_without_a_name(season, row):
    taken = take(season, write(season, later_csv=f"{HEAD}{row}\n"))
    assert counts(taken) == (1, 0, 1, 0, 0)
    (aside,) = taken.tables["set_aside"]
    assert aside["reason"] == WEAKER[row]
    assert "found.csv:2" in aside["hint"]
    assert "--confirm-change NAME --reason TEXT" in aside["hint"]
    assert looks(taken)["L9"] == "relevant"
    assert superseded(season) == []


@pytest.mark.parametrize("row", WEAKER)
def test_with_a_name_and_a_reason_it_does_and_both_are_kept(season, row):
    taken = take(season, write(season, later_csv=f"{HEAD}{row}\n"), confirmed=WHO)
    assert counts(taken) == (1, 1, 0, 0, 1)
    (old,) = superseded(season)
    assert (old["change"], old["confirmed_by"], old["reason"]) == ("weakens_indication", WHO.name, WHO.reason)
    assert old["what"].startswith(WEAKER[row])
    (stored,) = [r for r in taken.tables["inspections"] if r["inspection_id"] == "L9"]
    told = row.split(",")
    assert [stored["fitting_id"], stored["inspected_on"], stored["result"]] == [told[2], told[3], told[5]]


def test_a_confirmed_crack_stays_confirmed_until_a_name_says_otherwise(season):
    take(season, write(season, a_csv=FOUND.replace("open", "confirmed")))
    taken = take(season, write(season, b_csv=FOUND.replace(",4,", ",5,")))
    assert [r[3] for r in taken.reasons()] == ["a confirmed indication would no longer be confirmed"]
    assert [r["change"] for r in superseded(season)] == ["other"]


def test_the_file_given_again_with_a_name_uses_the_rows_that_waited_and_no_others(season):
    later = f"{HEAD}L9,B1,CP1,2014-05-01,penetrant,relevant,unfounded,4,none\nL7,B9,CP1,2014,visual,relevant,,,\n"
    before = take(season, write(season, later_csv=later))
    assert counts(before) == (2, 0, 2, 0, 0)
    after = take(season, write(season, later_csv=later), confirmed=WHO)
    assert after.report.confirmed == ("later.csv",)
    assert counts(after) == (2, 1, 1, 0, 1)
    assert [r[3] for r in after.reasons()] == ["boat_id is not in boats"]
    again = take(season, write(season, later_csv=later), confirmed=WHO)
    assert again.tables == after.tables
    assert again.report.skipped == ("later.csv",)


def test_a_follow_up_that_confirms_or_a_replacement_needs_no_name_and_is_listed(season):
    taken = take(season, write(season, a_csv=FOUND.replace("open,4,none", "confirmed,4,replaced")))
    assert counts(taken) == (1, 1, 0, 0, 1)
    assert [(r["change"], r["what"]) for r in superseded(season)] == [
        ("moves_history", "disposition: open -> confirmed; action: none -> replaced")
    ]


def test_an_id_that_stands_for_another_boat_never_takes_a_place(season):
    row = "L9,B2,KB1,2016-05-01,visual,relevant,,,\n"
    taken = take(season, write(season, other_csv=HEAD + row), confirmed=WHO)
    assert [r[3] for r in taken.reasons()] == ["the same inspection_id stands for another boat"]
    assert superseded(season) == []


def test_a_part_taken_out_for_an_indication_stays_so_without_a_name(tmp_path):
    head = "boat_id,fitting_id,fitting_type,material,installed,removed,removal_reason\n"
    row = "B1,CP3,chainplate,316 stainless,2005-03-01,2014-01-01,{}\n"
    take(tmp_path, fleet(tmp_path, more_csv=head + row.format("indication")))
    taken = take(tmp_path, write(tmp_path, b_csv=head + row.format("preventive")))
    assert [r[3] for r in taken.reasons()] == ["a part taken out for an indication would no longer be so"]


def test_a_column_that_a_file_lacks_keeps_what_it_said(season):
    slim = "boat_id,fitting_id,fitting_type,material,installed,removed\n"
    rows = "B1,CP1,chainplate,316 stainless,2005-03-01,2016-01-01\nB2,KB1,keel bolt,bronze,,\n"
    taken = take(season, write(season, slim_csv=slim + rows))
    assert counts(taken) == (2, 2, 0, 1, 1)
    (stored,) = [r for r in taken.tables["fittings"] if r["fitting_id"] == "CP1"]
    assert (stored["consequence"], stored["removed"]) == (4, "2016-01-01")
    assert [r["change"] for r in superseded(season)] == ["moves_history"]


def test_a_rough_day_of_installation_may_become_a_day(season):
    taken = take(season, write(season, f_csv=FITTINGS.replace("2009~", "2009-06-10")))
    assert counts(taken) == (3, 3, 0, 2, 1)
    assert [r["installed"] for r in taken.tables["fittings"] if r["fitting_id"] == "CP2"] == ["2009-06-10"]


def test_a_new_part_in_an_old_place_takes_nobodys_place(season):
    taken = take(season, write(season, f_csv=f"{FITTINGS}B1,CP1,chainplate,titanium,2018-03-01,,4\n"))
    assert counts(taken) == (4, 4, 0, 3, 0)


def test_looks_without_an_id_are_the_same_by_fitting_day_and_method(season):
    head = "boat_id,fitting_id,inspected_on,method,result,note\n"
    a, b = "B1,CP1,2017-05-01,visual,no_indication,a\n", "B1,CP1,2017-05-01,visual,relevant,b\n"
    take(season, write(season, one_csv=head + a + b))
    whole = "B1,,2017-05-01,visual,no_indication,all OK\n"
    taken = take(season, write(season, two_csv=head + b.replace(",b", ",c") + a + whole))
    assert counts(taken) == (3, 3, 0, 1, 1)
    assert [r["what"] for r in superseded(season)] == ["note: b -> c"]
    notes = [r["note"] for r in taken.tables["inspections"] if r["inspected_on"] == "2017-05-01"]
    assert sorted(notes) == ["a", "all OK", "c"]


def test_the_order_of_the_files_decides(season):
    take(season, write(season, a_csv=BOATS.replace("Sallow", "Osier")))
    taken = take(season, write(season, b_csv=BOATS.replace("Sallow", "Withy")))
    assert [b["boat_name"] for b in taken.tables["boats"] if b["boat_id"] == "B1"] == ["Withy"]
    assert [r["what"] for r in superseded(season)] == [
        "boat_name: Osier -> Withy",
        "boat_name: Sallow -> Osier",
    ]


def test_a_cell_that_could_not_be_read_stays_unread_until_it_is_corrected(season):
    head = "inspection_id,boat_id,fitting_id,inspected_on,method,result,part_temp_c{}\n"
    row = "L8,B1,CP1,2017-05-01,penetrant,no_indication,warm\n"
    take(season, write(season, a_csv=head.format("") + row))
    slim = head.replace("part_temp_c{}", "note") + row.replace("warm", "n")
    held = take(season, write(season, b_csv=slim))
    (look,) = [r for r in held.tables["inspections"] if r["inspection_id"] == "L8"]
    assert (look["cells_unread"], look["note"]) == ("part_temp_c", "n")
    done = take(season, write(season, c_csv=head.format("") + row.replace("warm", "21")))
    (look,) = [r for r in done.tables["inspections"] if r["inspection_id"] == "L8"]
    assert (look["cells_unread"], look["part_temp_c"], look["note"]) == (None, 21.0, "n")


ALIASES = "boat_id,alias,from,to\nB1,Old Sallow,,2012-12-31\nB2,NS-2,,\n"


def test_rows_under_another_name_are_the_boats_and_that_is_said(season):
    more = (
        "boat_id,fitting_id,inspected_on,method,result\n"
        "Old Sallow,CP1,2012-05-01,visual,relevant\nOld Sallow,CP1,2013-05-01,visual,relevant\n"
        "NS-2,KB1,2013,visual,relevant\n"
    )
    taken = take(season, write(season, aliases_csv=ALIASES, more_csv=more))
    assert counts(taken) == (3, 2, 1, 0, 0)
    assert [f["rows_renamed"] for f in taken.tables["files"]][-1] == 2
    assert [r["boat_id"] for r in taken.tables["inspections"]][-2:] == ["B1", "B2"]
    assert taken.reasons() == [("more.csv", 3, "boat_id", "boat_id is not in boats")]
    assert "more.csv: 1 rows of NS-2 are read as those of B2 (aliases)" in taken.said


EARLY = (
    "inspection_id,boat_id,fitting_id,inspected_on,method,result\n"
    "E1,B7,CP1,2014-05-01,visual,relevant\nE2,B7,CP2,2014-05-01,visual,no_indication\n"
    "E3,B8,CP1,2014-05-01,visual,relevant\nE4,B1,CP1,2014-06-01,visual,no_indication\n"
)
LATE_BOATS = "boat_id,built\nB7,2001\n"
LATE_FITTINGS = "boat_id,fitting_id,fitting_type,material,installed\nB7,CP1,chainplate,316,2005-03-01\n"


def test_looks_that_came_before_their_boat_are_used_when_given_again(season):
    """Common practice in record keeping: files come in any order. No source."""
    early = take(season, write(season, early_csv=EARLY))
    assert counts(early) == (4, 1, 3, 0, 0)
    hints = {r["hint"] for r in early.tables["set_aside"]}
    assert all("give this file again" in hint for hint in hints)
    boats = take(season, write(season, late_boats_csv=LATE_BOATS))
    assert boats.report.waiting == (("early.csv", 2),)
    take(season, write(season, late_fittings_csv=LATE_FITTINGS))
    after = take(season, [season / "early.csv"])
    assert after.report.confirmed == ("early.csv",)
    assert after.report.waiting == ()
    assert looks(after)["E1"] == "relevant"
    assert {r for r in looks(after) if r.startswith("E")} == {"E1", "E4"}
    # what still waits says what it waits for now
    assert [(r[1], r[3]) for r in after.reasons()] == [
        (3, "fitting_id is not in fittings for this boat"),
        (4, "boat_id is not in boats"),
    ]
    (file,) = [f for f in after.tables["files"] if f["file"] == "early.csv"]
    assert (file["rows_read"], file["rows_used"], file["rows_set_aside"]) == (4, 2, 2)
    again = take(season, [season / "early.csv"])
    assert again.tables == after.tables
    assert again.report.skipped == ("early.csv",)


def test_her_row_under_a_new_name_takes_the_place_of_the_old(season):
    taken = take(season, write(season, aliases_csv=ALIASES))
    taken = take(season, write(season, b_csv="boat_id,boat_name\nNS-2,Headland\n"))
    assert [(b["boat_id"], b["boat_name"], b["built"]) for b in taken.tables["boats"]] == [
        ("B1", "Sallow", "2001"),
        ("B2", "Headland", "1999-04"),
    ]


def test_aliases_that_would_mix_up_two_boats_are_set_aside(season):
    aliases = "boat_id,alias,from,to\nB1,B2,,\nB1,B1,,\nB9,X,,\nB1,Y,2012,2011\nB1,B2,,2001\n"
    assert [r[3] for r in take(season, write(season, aliases_csv=aliases)).reasons()] == [
        "the alias is the boat_id of a boat in boats",
        "the alias is the boat_id itself",
        "boat_id is not in boats",
        "to lies before from",
    ]


def test_a_name_of_two_boats_is_neither(season):
    take(season, write(season, aliases_csv="boat_id,alias\nB1,X\nB2,X\n"))
    more = "boat_id,inspected_on,method,result\nX,2012,visual,relevant\n"
    assert [r[3] for r in take(season, write(season, more_csv=more)).reasons()] == ["boat_id is not in boats"]


def _run(bobstay, folder, *arguments):
    done = bobstay(*arguments, "--store", "s.duckdb", "--out", "out", cwd=folder)
    assert done.code in {0, 4}, done.err
    return done


def test_the_history_of_a_boat_has_the_facts_and_is_no_certificate(bobstay, tmp_path):
    events = "boat_id,happened_on,kind,note\nB1,2013-07-01,grounding,Shoal\n"
    bad = "boat_id,fitting_id,inspected_on,method,result\nSallow,CP1,2013,visual,relevant\n"
    paths = fleet(tmp_path, found_csv=FOUND, events_csv=events, aliases_csv=ALIASES, bad_csv=bad)
    _run(bobstay, tmp_path, "ingest", *[p.name for p in paths])
    later = write(tmp_path, later_csv=FOUND.replace("relevant,open", "no_indication,open"))[0]
    _run(bobstay, tmp_path, "ingest", later.name)
    told = _run(bobstay, tmp_path, "history", "B1").out
    assert "This is no certificate" in told
    for fact in ("Old Sallow", "grounding", "Shoal", "found.csv:2", "looks.csv:3", "bad.csv:2", "later.csv:2"):
        assert fact in told
    _run(bobstay, tmp_path, "ingest", later.name, "--confirm-change", "A. Nwosu", "--reason", "a scratch")
    content = json.loads(_run(bobstay, tmp_path, "history", "sallow", "--json").out)
    assert content["no_certificate"].startswith("This is no certificate")
    (change,) = content["superseded"]
    assert (change["confirmed_by"], change["reason"], change["row"]) == ("A. Nwosu", "a scratch", "found.csv:2")
    clear = {row["fitting"]: row for row in content["clear"]}
    assert clear["CP1"] | {"grade_reason": None} == {
        "fitting": "CP1",
        "on": "2014-05-01",
        "method": "penetrant",
        "scope": "in_place",
        "grade": "not_stated",
        "grade_reason": None,
        "counts_until": "2016-04-30",
        "voided_by": None,
        "row": "later.csv:2",
    }
    assert [row["fitting"] for row in content["looks"]] == ["CP1", "CP2", "CP1"]
    assert [row["row"] for row in content["findings"]] == ["looks.csv:3"]
    assert [row["row"] for row in content["set_aside"]] == ["bad.csv:2"]


@pytest.mark.parametrize(
    "given", [("--confirm-change", "A. Nwosu"), ("--reason", "x"), ("--confirm-change", " ", "--reason", "x")]
)
def test_a_name_without_a_reason_is_wrong_use(bobstay, tmp_path, given):
    paths = fleet(tmp_path)
    done = bobstay("ingest", *[p.name for p in paths], *given, "--store", "s.duckdb", cwd=tmp_path)
    assert done.code == 2
    assert done.lines[0] == "error: a change that weakens an indication needs a name and a reason"
    assert not (tmp_path / "s.duckdb").exists()
