"""Worksheets that come back: every line is used or set aside with its reason, and none weakens what is known.

Source: the sentences of the README's "Worksheets that come back", worked out by hand; common practice, no publication.
"""

from __future__ import annotations

import pytest

from bobstay.ingest import Confirmation
from worksheet_store import answers, bring_back, printed

HEAD = "code,result,method,inspected_on,scope,part_temp_c\n"
DAY = "2026-11-20"


@pytest.fixture
def sheet(tmp_path):
    return tmp_path, printed(tmp_path)


def counts(taken):
    last = taken.tables["files"][-1]
    return tuple(last[k] for k in ("rows_read", "rows_used", "rows_set_aside", "rows_known", "rows_superseding"))


def test_a_line_finds_its_part_and_an_empty_one_was_not_inspected(sheet):
    folder, code = sheet
    taken = bring_back(folder, f"{HEAD}{code['CP1']},no indication,penetrant,{DAY},taken off,18\n{code['CP2']},,,,,\n")
    assert counts(taken) == (2, 2, 0, 0, 0)
    assert answers(taken) == {
        code["CP1"]: ("no_indication", "penetrant", DAY),
        code["CP2"]: ("not_inspected", "visual", DAY),
    }
    look = next(r for r in taken.tables["inspections"] if r["inspection_id"] == f"sheet {code['CP1']}")
    assert (look["boat_id"], look["fitting_id"], look["scope"], look["part_temp_c"]) == ("B1", "CP1", "removed", 18.0)
    assert taken.report.worksheets == ("back.csv",)


def test_the_line_for_every_line_fills_what_the_others_leave_out(sheet):
    folder, code = sheet
    taken = bring_back(folder, f"{HEAD}*,,magnified,{DAY},,12\n{code['CP1']},relevant,,,removed,\n{code['CP2']},,,,,\n")
    assert counts(taken) == (2, 2, 0, 0, 0)
    assert answers(taken)[code["CP1"]] == ("relevant", "magnified", DAY)
    assert answers(taken)[code["CP2"]] == ("not_inspected", "visual", DAY)


WRONG = {
    "O{CP1},no_indication,visual,2026-11-20,,": "the code is misread: a character that no code has",
    "{CP1}2,no_indication,visual,2026-11-20,,": "the code is misread: it has too few or too many characters",
    "{swapped},no_indication,visual,2026-11-20,,": "the code is misread: its last character does not fit the others",
    "{stranger},no_indication,visual,2026-11-20,,": "no sheet of this store has this code",
    ",no_indication,visual,2026-11-20,,": "the line has no code",
    "{CP1},ok,visual,2026-11-20,,": "unknown word in result",
    "{CP1},no_indication,,2026-11-20,,": "a result without a method",
    "{CP1},no_indication,by eye of newt,2026-11-20,,": "unknown word in method",
    "{CP1},no_indication,visual,,,": "a result without a day",
    "{CP1},no_indication,visual,20.11.2026,,": None,
    "{CP1},no_indication,visual,2099-01-01,,": "the day lies in the future",
    "{CP1},,visual,,removed,": "half filled: no result",
    "{CP1},,,,,": "nothing on this sheet is filled in",
    "*,no_indication,visual,2026-11-20,,": "a result for every line at once is not taken",
}


@pytest.mark.parametrize("line", WRONG)
def test_a_line_wrongly_filled_is_set_aside_with_its_reason(sheet, line):
    folder, code = sheet
    plain = code["CP1"]
    swapped = plain[1] + plain[0] + plain[2:]
    taken = bring_back(folder, HEAD + line.format(**code, swapped=swapped, stranger=_stranger()) + "\n")
    assert counts(taken) == (1, 0, 1, 0, 0)
    (aside,) = taken.tables["set_aside"]
    assert WRONG[line] is None or aside["reason"] == WRONG[line]
    assert aside["hint"]
    assert answers(taken) == {}


def _stranger() -> str:
    from bobstay import codes

    return codes.made("another fleet")


def test_a_misread_code_is_told_what_it_may_be(sheet):
    folder, code = sheet
    plain = code["CP1"]
    wrong = ("2" if plain[0] != "2" else "3") + plain[1:]
    taken = bring_back(folder, f"{HEAD}{wrong},no_indication,visual,{DAY},,\n")
    assert f"did you mean {plain}?" in taken.tables["set_aside"][0]["hint"]


def test_the_same_sheet_twice_adds_nothing_and_saved_anew_neither(sheet):
    folder, code = sheet
    text = f"{HEAD}{code['CP1']},no_indication,visual,{DAY},,\n{code['CP2']},,,,,\n"
    first = bring_back(folder, text)
    again = bring_back(folder, text)
    assert again.report.skipped == ("back.csv",)
    anew = bring_back(folder, text.replace("\n", "\r\n"), name="anew")
    assert counts(anew) == (2, 2, 0, 2, 0)
    assert answers(anew) == answers(first)


def test_a_later_copy_fills_what_was_open_and_leaves_what_was_answered(sheet):
    """The second copy of a sheet, filled in by another hand, is empty where the first one was filled."""
    folder, code = sheet
    bring_back(folder, f"{HEAD}{code['CP1']},no_indication,visual,2026-11-12,,\n{code['CP2']},,,,,\n")
    taken = bring_back(folder, f"{HEAD}{code['CP1']},,,,,\n{code['CP2']},relevant,visual,{DAY},,\n", name="second")
    assert counts(taken) == (2, 2, 0, 1, 1)
    assert answers(taken) == {
        code["CP1"]: ("no_indication", "visual", "2026-11-12"),
        code["CP2"]: ("relevant", "visual", DAY),
    }


def test_two_half_filled_copies_in_one_call_lose_nothing(sheet):
    from ingest_files import LIMIT, take, write

    folder, code = sheet
    one = f"{HEAD}{code['CP1']},no_indication,visual,{DAY},,\n{code['CP2']},,,,,\n"
    two = f"{HEAD}{code['CP1']},,,,,\n{code['CP2']},relevant,visual,{DAY},,\n"
    taken = take(folder, write(folder, one_csv=one, two_csv=two), limit=LIMIT, needed=())
    assert {c: a[0] for c, a in answers(taken).items()} == {code["CP1"]: "no_indication", code["CP2"]: "relevant"}


def test_a_corrected_sheet_takes_the_place_of_the_old_even_on_another_day(sheet):
    folder, code = sheet
    bring_back(folder, f"{HEAD}{code['CP1']},no_indication,visual,{DAY},,\n")
    taken = bring_back(folder, f"{HEAD}{code['CP1']},relevant,magnified,2026-11-21,,\n", name="corrected")
    assert counts(taken) == (1, 1, 0, 0, 1)
    assert answers(taken) == {code["CP1"]: ("relevant", "magnified", "2026-11-21")}


def test_a_correction_that_weakens_an_indication_waits_for_a_name(sheet):
    folder, code = sheet
    bring_back(folder, f"{HEAD}{code['CP1']},relevant,visual,{DAY},,\n")
    weaker = f"{HEAD}{code['CP1']},no_indication,visual,{DAY},,\n"
    taken = bring_back(folder, weaker, name="weaker")
    assert [r[3] for r in taken.reasons()] == ["an indication would no longer be one"]
    assert answers(taken)[code["CP1"]][0] == "relevant"
    taken = bring_back(folder, weaker, name="weaker", confirmed=Confirmation("A. Nwosu", "a scratch"))
    assert answers(taken)[code["CP1"]][0] == "no_indication"


def test_fahrenheit_and_inches_are_read_as_what_their_headings_say(sheet):
    folder, code = sheet
    head = "code,result,method,inspected_on,part_temp_f,indication_length_in\n"
    taken = bring_back(folder, f"{head}{code['CP1']},relevant,visual,{DAY},50,0.5\n")
    look = next(r for r in taken.tables["inspections"] if r["inspection_id"] == f"sheet {code['CP1']}")
    assert (look["part_temp_c"], look["indication_length_mm"]) == (10.0, 12.7)


def test_a_store_that_never_wrote_a_sheet_knows_no_code(tmp_path):
    from ingest_files import fleet, take

    take(tmp_path, fleet(tmp_path))
    taken = bring_back(tmp_path, f"{HEAD}{_stranger()},no_indication,visual,{DAY},,\n")
    assert [r[3] for r in taken.reasons()] == ["no sheet of this store has this code"]
