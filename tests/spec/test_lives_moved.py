"""Parts that were moved keep their age, and replacing one part leaves the others as they were; worked by hand."""

from __future__ import annotations

from datetime import date

import pytest

from drawn_fleet import built, lives_of, must_follow

BOATS = """
boat_id | built | joined
A | 2000-01-01 | 2000-01-01
B | 2001-01-01 | 2001-01-01
C | 2001-01-01 | 2001-01-01"""
HEADS = (
    "boat_id | fitting_id | fitting_type | material | installed | removed | "
    "moved_from_boat_id | moved_from_fitting_id\n"
)
OLD = "A | P | toggle | 316 | 2005-03-01 | 2012-05-01 | |\n"
LOOKS = """
boat_id | fitting_id | inspected_on | method | result
A | P | 2010-01-01 | visual | no_indication
B | Q | 2014-01-01 | visual | no_indication
B | Q | 2016-01-01 | visual | relevant"""


def test_a_part_moved_between_boats_keeps_its_age_and_is_watched_from_its_first_look_there():
    lives, looks = built(
        boats=BOATS, fittings=f"{HEADS}{OLD}B | Q | toggle | 316 | 2012-05-01 | | A | P", inspections=LOOKS
    )
    must_follow(
        lives,
        """
        life_id | installed_on | ended_on | end_reason | entry | lower | upper | moved_on | moved_from
        A/P/1 | 2005-03-01 | 2012-05-01 | removed | 2005-03-01 | 2010-01-01 | never | - | -
        B/Q/1 | 2005-03-01 | 2020-01-01 | in_service | 2014-01-01 | 2014-01-01 | 2016-01-01 | 2012-05-01 | A/P/1""",
    )
    assert [(look["life_id"], round(look["look_years"], 2)) for look in looks] == [
        ("A/P/1", 4.84),
        ("B/Q/1", 8.84),
        ("B/Q/1", 10.84),
    ]


def test_without_a_look_in_the_new_place_it_is_left_out_but_not_taken_for_new():
    lives = lives_of(boats=BOATS, fittings=f"{HEADS}{OLD}B | Q | toggle | 316 | 2012-05-01 | | A | P")
    must_follow(
        lives[1:],
        """
        life_id | installed_on | entry | left_out | age_basis
        B/Q/1 | 2005-03-01 | - | joined_late_no_clear_look | stated""",
    )
    assert lives[1]["age_years"] == pytest.approx((date(2020, 1, 1) - date(2005, 3, 1)).days / 365.25)


def test_a_part_listed_in_its_new_place_is_no_longer_in_the_old_one():
    fittings = f"{HEADS}A | P | toggle | 316 | 2005-03-01 | | |\nB | P | toggle | 316 | 2012-05-01 | | A |"
    must_follow(
        lives_of(boats=BOATS, fittings=fittings),
        """
        life_id | installed_on | ended_on | end_reason
        A/P/1 | 2005-03-01 | 2012-05-01 | removed
        B/P/1 | 2005-03-01 | 2020-01-01 | in_service""",
    )


def test_a_part_moved_twice_keeps_its_first_day():
    moves = "B | Q | toggle | 316 | 2012-05-01 | 2015-05-01 | A | P\nC | R | toggle | 316 | 2015-05-01 | | B | Q"
    must_follow(
        lives_of(boats=BOATS, fittings=f"{HEADS}{OLD}{moves}"),
        """
        life_id | installed_on | ended_on | moved_from
        A/P/1 | 2005-03-01 | 2012-05-01 | -
        B/Q/1 | 2005-03-01 | 2015-05-01 | A/P/1
        C/R/1 | 2005-03-01 | 2020-01-01 | B/Q/1""",
    )


def test_a_part_from_a_place_nobody_knows_is_at_least_as_old_as_its_row():
    must_follow(
        lives_of(boats=BOATS, fittings=f"{HEADS}B | Q | toggle | 316 | 2012-05-01 | | Z | P"),
        """
        life_id | installed_on | age_basis | entry | left_out | moved_from
        B/Q/1 | 2012-05-01 | at_least | - | age_unknown | -""",
    )


def test_the_next_part_of_the_old_place_is_new():
    fittings = f"{HEADS}{OLD}A | P | toggle | 316 | 2012-05-01 | | |\nB | Q | toggle | 316 | 2012-05-01 | | A | P"
    must_follow(
        lives_of(boats=BOATS, fittings=fittings),
        """
        life_id | installed_on | ended_on | end_reason | entry
        A/P/1 | 2005-03-01 | 2012-05-01 | replaced | 2005-03-01
        A/P/2 | 2012-05-01 | 2020-01-01 | in_service | 2012-05-01
        B/Q/1 | 2005-03-01 | 2020-01-01 | in_service | -""",
    )


def test_new_wire_leaves_the_chainplates_as_old_as_they_were():
    """Replacing a set renews what was replaced: the plates keep their age, their looks and their indication."""
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed | removed
    A | wire port | shroud wire | 316 | 2001-04-01 | 2013-04-10
    A | wire port | shroud wire | 316 | 2013-04-10 |
    A | plate port | chainplate | 316 | 2001-04-01 |"""
    looks = """
    boat_id | fitting_id | inspected_on | method | result | action
    A | plate port | 2012-04-01 | visual | no_indication |
    A | wire port | 2013-04-10 | visual | relevant | replaced
    A | plate port | 2014-04-01 | visual | relevant |"""
    must_follow(
        lives_of(boats=BOATS, fittings=fittings, inspections=looks),
        """
        life_id | installed_on | ended_on | end_reason | lower | upper
        A/plate port/1 | 2001-04-01 | 2020-01-01 | in_service | 2012-04-01 | 2014-04-01
        A/wire port/1 | 2001-04-01 | 2013-04-10 | replaced | 2001-04-01 | 2013-04-10
        A/wire port/2 | 2013-04-10 | 2020-01-01 | in_service | 2013-04-10 | never""",
    )
