"""Entry, lower and upper age and what is left out: records as drawn, and what must follow, worked by hand."""

from __future__ import annotations

import math

import pytest

from drawn_fleet import lives_of, must_follow

OWN = "boat_id | built | joined \n B | 1990-01-01 | 1990-01-01"
BOUGHT = "boat_id | built | joined \n B | 1990-01-01 | 2005-01-01"
UNTOLD = "boat_id | built | joined \n B | 1990-01-01 | "
PART = "boat_id | fitting_id | fitting_type | material | installed \n B | F | chainplate | 316 | {}"
GONE = """
boat_id | fitting_id | fitting_type | material | installed  | removed    | removal_reason
B       | F          | chainplate   | 316      | 1995-01-01 | 2012-01-01 | indication
"""
KNOWN = "life_id | entry | lower | upper | left_out"
WORDS = {"ok": "no_indication", "ind": "relevant", "false": "false", "?": "inconclusive"}


def looks(*told: str) -> str:
    rows = [f"B|F|{day}|visual|{WORDS[word]}|scheduled" for day, word in map(str.split, told)]
    return "\n".join(["boat_id|fitting_id|inspected_on|method|result|trigger", *rows])


def follows(boats: str, installed: str, told: tuple[str, ...], known: str) -> None:
    lives = lives_of(boats=boats, fittings=PART.format(installed), inspections=looks(*told))
    must_follow(lives, f"{KNOWN} \n B/F/1 | {known}")


@pytest.mark.parametrize(
    ("told", "known"),
    [
        ((), "1995-01-01 | never | -"),
        (("2000-01-01 ok",), "2000-01-01 | never | -"),
        (("2000-01-01 ok", "2004-01-01 ok"), "2004-01-01 | never | -"),
        (("2000-01-01 ind",), "2000-01-01 | -"),
        (("2000-01-01 ok", "2004-01-01 ind"), "2000-01-01 | 2004-01-01 | -"),
        (("2000-01-01 ok", "2004-01-01 ind", "2006-01-01 ok", "2008-01-01 ind"), "2000-01-01 | 2004-01-01 | -"),
        (("2000-01-01 ok", "2004-01-01 ok", "2004-01-01 ind"), "2000-01-01 | 2004-01-01 | -"),
        (("2000-01-01 false", "2004-01-01 ind"), "2000-01-01 | 2004-01-01 | -"),
        (("2000-01-01 ok", "2002-01-01 ?", "2004-01-01 ind"), "2000-01-01 | 2004-01-01 | -"),
        (("2000 ok", "2004 ind"), "2000-01-01 | 2004-12-31 | -"),
        (("2004 ok", "2004-06-01 ind"), "2004-01-01 | 2004-06-01 | -"),
    ],
)
def test_under_observation_since_new(told: tuple[str, ...], known: str) -> None:
    """Right-, left- and interval-censored lives of a part put in after the boat joined: entry at age 0."""
    known = known if known.count("|") == 2 else f"1995-01-01 | {known}"
    follows(OWN, "1995-01-01", told, f"1995-01-01 | {known}")


@pytest.mark.parametrize(
    ("told", "known"),
    [
        (("2006-01-01 ok",), "2006-01-01 | 2006-01-01 | never | -"),
        (("2006-01-01 ok", "2009-01-01 ok", "2010-01-01 ind"), "2006-01-01 | 2009-01-01 | 2010-01-01 | -"),
        (("2005-06-01 ?", "2006-01-01 false", "2010-01-01 ind"), "2006-01-01 | 2006-01-01 | 2010-01-01 | -"),
        (("2006-01-01 ind",), "- | 1995-01-01 | 2006-01-01 | joined_late_first_look_indication"),
        (("2006-01-01 ok", "2006-01-01 ind"), "- | 1995-01-01 | 2006-01-01 | joined_late_first_look_indication"),
        (("2006-01-01 ind", "2008-01-01 ok"), "- | 1995-01-01 | 2006-01-01 | joined_late_first_look_indication"),
        ((), "- | 1995-01-01 | never | joined_late_no_clear_look"),
        (("2006-01-01 ?",), "- | 1995-01-01 | never | joined_late_no_clear_look"),
    ],
)
def test_older_than_the_records_of_the_boat(told: tuple[str, ...], known: str) -> None:
    """A part put in before the boat joined enters at its first valid clear look, or is left out (left truncation)."""
    follows(BOUGHT, "1995-01-01", told, known)


def test_a_part_put_in_on_the_day_of_joining_is_under_observation_since_new() -> None:
    follows(BOUGHT, "2005-01-01", (), "2005-01-01 | 2005-01-01 | never | -")
    follows(BOUGHT, "2004-12-31", (), "- | 2004-12-31 | never | joined_late_no_clear_look")


def test_where_joining_is_not_stated_the_records_begin_at_the_first_look_at_the_boat() -> None:
    follows(UNTOLD, "1995-01-01", ("2006-01-01 ok", "2009-01-01 ok"), "2006-01-01 | 2009-01-01 | never | -")
    follows(
        UNTOLD, "1995-01-01", ("2006-01-01 ind",), "- | 1995-01-01 | 2006-01-01 | joined_late_first_look_indication"
    )
    whole = looks("2000-01-01 ok").replace("B|F|", "B||") + "\nB|F|2006-01-01|visual|relevant|"
    lives = lives_of(boats=UNTOLD, fittings=PART.format("2001-01-01"), inspections=whole)
    must_follow(lives, f"{KNOWN} \n B/F/1 | 2001-01-01 | 2001-01-01 | 2006-01-01 | -")


def test_removal_while_sound_is_right_censoring_at_the_last_clear_look() -> None:
    for reason in ("preventive", "refit", "unknown", ""):
        gone = GONE.replace("| indication", f"| {reason}")
        lives = lives_of(boats=OWN, fittings=gone, inspections=looks("2010-01-01 ok"))
        must_follow(lives, f"{KNOWN} \n B/F/1 | 1995-01-01 | 2010-01-01 | never | -")


@pytest.mark.parametrize(
    ("boats", "told", "known"),
    [
        (OWN, (), "1995-01-01 | 1995-01-01 | 2012-01-01 | -"),
        (OWN, ("2010-01-01 ok",), "1995-01-01 | 2010-01-01 | 2012-01-01 | -"),
        (OWN, ("2010-01-01 ok", "2012-01-01 ok"), "1995-01-01 | 2010-01-01 | 2012-01-01 | -"),
        (OWN, ("2008-01-01 ok", "2010-01-01 ind"), "1995-01-01 | 2008-01-01 | 2010-01-01 | -"),
        (BOUGHT, ("2010-01-01 ok",), "2010-01-01 | 2010-01-01 | 2012-01-01 | -"),
        (BOUGHT, ("2012-01-01 ok",), "- | 1995-01-01 | 2012-01-01 | joined_late_no_clear_look"),
        (BOUGHT, (), "- | 1995-01-01 | 2012-01-01 | joined_late_no_clear_look"),
    ],
)
def test_removal_for_an_indication_is_one_on_the_day_of_removal(boats: str, told: tuple[str, ...], known: str) -> None:
    lives = lives_of(boats=boats, fittings=GONE, inspections=looks(*told))
    must_follow(lives, f"{KNOWN} \n B/F/1 | {known}")


def test_an_indication_on_the_first_day_is_left_out() -> None:
    follows(OWN, "1995-01-01", ("1995-01-01 ind",), "1995-01-01 | 1995-01-01 | 1995-01-01 | indication_at_age_zero")


def test_ages_are_days_by_365_25() -> None:
    (life,) = lives_of(
        boats=OWN, fittings=PART.format("1995-01-01"), inspections=looks("2000-01-01 ok", "2001-01-01 ind")
    )
    assert (life["lower_years"], life["upper_years"]) == (1826 / 365.25, 2192 / 365.25)
    assert life["age_years"] == 9131 / 365.25
    (new,) = lives_of(boats=OWN, fittings=PART.format("1995-01-01"))
    assert math.isinf(new["upper_years"]) and new["lower_years"] == new["entry_years"] == 0


DATES = "installed_on | installed_earliest | installed_latest | age_basis"
NO_BUILD = "boat_id | built | joined \n B | | 2005-01-01"
ROUGH_BUILD = "boat_id | built | joined \n B | 1990 | 1990-06-01"


@pytest.mark.parametrize(
    ("boats", "installed", "told", "dates"),
    [
        (OWN, "1995-05-06", (), "1995-05-06 | 1995-05-06 | 1995-05-06 | stated"),
        (OWN, "1995", (), "1995-07-02 | 1995-01-01 | 1995-12-31 | rough"),
        (OWN, "1995-04", (), "1995-04-15 | 1995-04-01 | 1995-04-30 | rough"),
        (OWN, "1995", ("1995-02-01 ok",), "1995-01-16 | 1995-01-01 | 1995-02-01 | rough"),
        (OWN, "", (), "1990-01-01 | 1990-01-01 | 2020-01-01 | bounded"),
        (OWN, "XXXX", ("2006-01-01 ok",), "1990-01-01 | 1990-01-01 | 2006-01-01 | bounded"),
        (OWN, "../1997", ("2006-01-01 ok",), "1990-01-01 | 1990-01-01 | 1997-12-31 | bounded"),
        (OWN, "1997/..", ("2006-01-01 ok",), "1997-01-01 | 1997-01-01 | 2006-01-01 | bounded"),
        (ROUGH_BUILD, "", ("2006-01-01 ok",), "1990-01-01 | 1990-01-01 | 2006-01-01 | bounded"),
        (NO_BUILD, "", ("2006-01-01 ok",), "2005-01-01 | - | 2005-01-01 | at_least"),
        (NO_BUILD, "", ("2001-01-01 ok", "2006-01-01 ok"), "2001-01-01 | - | 2001-01-01 | at_least"),
    ],
)
def test_the_day_from_which_ages_are_counted(boats: str, installed: str, told: tuple[str, ...], dates: str) -> None:
    lives = lives_of(boats=boats, fittings=PART.format(installed), inspections=looks(*told))
    must_follow(lives, f"{DATES} \n {dates}")


def test_an_age_with_no_bound_is_left_out_of_the_estimate() -> None:
    follows(NO_BUILD, "", ("2006-01-01 ok", "2009-01-01 ind"), "- | 2006-01-01 | 2009-01-01 | age_unknown")


def test_a_later_part_of_unknown_day_is_bounded_by_the_end_of_the_part_before() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed
    B       | F          | chainplate   | 316      | 1995-01-01 | 2003-05-01
    B       | F          | chainplate   | 316      |            |
    """
    lives = lives_of(boats=OWN, fittings=fittings, inspections=looks("2000-01-01 ok", "2006-01-01 ok"))
    must_follow(
        lives,
        f"""
        life_id | {DATES} | lower
        B/F/1   | 1995-01-01 | 1995-01-01 | 1995-01-01 | stated  | 2000-01-01
        B/F/2   | 2003-05-01 | 2003-05-01 | 2006-01-01 | bounded | 2006-01-01
        """,
    )


def test_a_later_part_of_unknown_day_is_bounded_by_a_look_that_took_the_part_before_out() -> None:
    fittings = PART.format("1995-01-01") + "\nB | F | chainplate | 316 |"
    told = (
        looks("2000-01-01 ok", "2003-05-01 ind", "2006-01-01 ok").replace("scheduled", "").replace("trigger", "action")
    )
    told = told.replace("2003-05-01|visual|relevant|", "2003-05-01|visual|relevant|removed")
    must_follow(
        lives_of(boats=OWN, fittings=fittings, inspections=told),
        f"""
        life_id | {DATES} | upper
        B/F/1   | 1995-01-01 | 1995-01-01 | 1995-01-01 | stated  | 2003-05-01
        B/F/2   | 2003-05-01 | 2003-05-01 | 2006-01-01 | bounded | never
        """,
    )
