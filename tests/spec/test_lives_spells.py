"""Which part was in a place, from when to when: records as drawn, and the lives that must follow, worked by hand."""

from __future__ import annotations

from drawn_fleet import lives_of, looks_of, must_follow

BOAT = """
boat_id | built      | joined
B       | 2000-01-01 | 2000-01-01
"""
LEFT = """
boat_id | built      | joined     | left
B       | 2000-01-01 | 2000-01-01 | 2012-06-01
"""
ONE = """
boat_id | fitting_id | fitting_type | material | installed  | supplier | batch | position | consequence
B       | F          | chainplate   | 316      | 2000-03-01 | Wright   | 7     | port     | 5
"""
TWO = """
boat_id | fitting_id | fitting_type | material | installed  | removed
B       | F          | chainplate   | 316      | 2000-03-01 | {removed}
B       | F          | chainplate   | titanium | {installed} |
"""


def looks(*rows: str) -> str:
    return "\n".join(["boat_id | fitting_id | inspected_on | method | result | action", *rows])


def test_a_part_never_touched_is_in_service_until_the_as_of_date() -> None:
    must_follow(
        lives_of(boats=BOAT, fittings=ONE),
        """
        life_id | installed_on | ended_on   | end_reason | is_in_service | look_count | supplier | consequence
        B/F/1   | 2000-03-01   | 2020-01-01 | in_service | yes           | 0          | Wright   | 5
        """,
    )


def test_removal_ends_a_life() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed    | removal_reason
    B       | F          | chainplate   | 316      | 2000-03-01 | 2008-05-02 | preventive
    """
    must_follow(
        lives_of(boats=BOAT, fittings=fittings),
        """
        life_id | ended_on   | end_reason | removal_reason | is_in_service
        B/F/1   | 2008-05-02 | removed    | preventive     | no
        """,
    )


def test_the_boat_leaving_ends_a_life_in_service() -> None:
    must_follow(
        lives_of(boats=LEFT, fittings=ONE),
        """
        life_id | ended_on   | end_reason | is_in_service
        B/F/1   | 2012-06-01 | boat_left  | no
        """,
    )


def test_the_next_part_in_a_place_ends_the_one_before() -> None:
    must_follow(
        lives_of(boats=BOAT, fittings=TWO.format(removed="", installed="2010-04-01")),
        """
        life_id | material | installed_on | ended_on   | end_reason
        B/F/1   | 316      | 2000-03-01   | 2010-04-01 | replaced
        B/F/2   | titanium | 2010-04-01   | 2020-01-01 | in_service
        """,
    )


def test_removed_before_the_next_part_leaves_a_gap_and_its_looks_belong_to_no_life() -> None:
    tables = {
        "boats": BOAT,
        "fittings": TWO.format(removed="2009-01-01", installed="2010-04-01"),
        "inspections": looks(
            "B|F|2008-12-01|visual|no_indication|", "B|F|2009-06-01|visual|relevant|", "B|F|2011-01-01|visual|relevant|"
        ),
    }
    must_follow(
        lives_of(**tables),
        """
        life_id | ended_on   | end_reason | look_count | lower      | upper
        B/F/1   | 2009-01-01 | removed    | 1          | 2008-12-01 | never
        B/F/2   | 2020-01-01 | in_service | 1          | 2010-04-01 | 2011-01-01
        """,
    )
    must_follow(looks_of(**tables), "life_id | look_on \n B/F/1 | 2008-12-01 \n B/F/2 | 2011-01-01")


def test_action_replaced_ends_the_life_and_begins_one_of_the_same_type_and_material() -> None:
    must_follow(
        lives_of(boats=BOAT, fittings=ONE, inspections=looks("B|F|2008-05-02|penetrant|relevant|replaced")),
        """
        life_id | fitting_type | material | installed_on | ended_on   | end_reason | upper      | look_count
        B/F/1   | chainplate   | 316      | 2000-03-01   | 2008-05-02 | replaced   | 2008-05-02 | 1
        B/F/2   | chainplate   | 316      | 2008-05-02   | 2020-01-01 | in_service | never      | 0
        """,
    )


def test_a_part_no_row_tells_of_keeps_what_belongs_to_the_place_but_not_the_maker() -> None:
    must_follow(
        lives_of(boats=BOAT, fittings=ONE, inspections=looks("B|F|2008-05-02|visual|no_indication|replaced")),
        """
        life_id | position | consequence | supplier | batch
        B/F/1   | port     | 5           | Wright   | 7
        B/F/2   | port     | 5           | -        | -
        """,
    )


def test_a_row_installed_within_31_days_of_a_replacement_is_the_new_part() -> None:
    look = looks("B|F|2010-04-01|visual|relevant|replaced")
    for installed, start in (
        ("2010-04-01", "2010-04-01"),
        ("2010-03-01", "2010-04-01"),
        ("2010-05-02", "2010-05-02"),
        ("2010", "2010-04-01"),
        ("", "2010-04-01"),
    ):
        must_follow(
            lives_of(boats=BOAT, fittings=TWO.format(removed="", installed=installed), inspections=look),
            f"""
            life_id | material | installed_on | ended_on   | end_reason | upper      | age_basis
            B/F/1   | 316      | 2000-03-01   | 2010-04-01 | replaced   | 2010-04-01 | stated
            B/F/2   | titanium | {start}      | 2020-01-01 | in_service | never      | stated
            """,
        )


def test_a_row_installed_32_days_from_a_replacement_is_another_part() -> None:
    look = looks("B|F|2010-04-01|visual|relevant|replaced")
    must_follow(
        lives_of(boats=BOAT, fittings=TWO.format(removed="", installed="2010-05-03"), inspections=look),
        """
        life_id | material | installed_on | ended_on   | end_reason
        B/F/1   | 316      | 2000-03-01   | 2010-04-01 | replaced
        B/F/2   | 316      | 2010-04-01   | 2010-05-03 | replaced
        B/F/3   | titanium | 2010-05-03   | 2020-01-01 | in_service
        """,
    )


def test_the_only_row_of_a_place_is_the_old_part_where_it_was_there_before_the_replacement() -> None:
    look = looks("B|F|2000-03-20|visual|relevant|replaced")
    must_follow(
        lives_of(boats=BOAT, fittings=ONE, inspections=look),
        """
        life_id | installed_on | ended_on   | upper
        B/F/1   | 2000-03-01   | 2000-03-20 | 2000-03-20
        B/F/2   | 2000-03-20   | 2020-01-01 | never
        """,
    )


def test_several_replacements_chain_and_two_looks_on_one_day_replace_once() -> None:
    found = looks(
        "B|F|2005-01-01|visual|relevant|replaced",
        "B|F|2005-01-01|penetrant|relevant|replaced",
        "B|F|2011-01-01|visual|no_indication|replaced",
    )
    must_follow(
        lives_of(boats=BOAT, fittings=ONE, inspections=found),
        """
        life_id | installed_on | ended_on   | end_reason | look_count | lower      | upper
        B/F/1   | 2000-03-01   | 2005-01-01 | replaced   | 2          | 2000-03-01 | 2005-01-01
        B/F/2   | 2005-01-01   | 2011-01-01 | replaced   | 1          | 2011-01-01 | never
        B/F/3   | 2011-01-01   | 2020-01-01 | in_service | 0          | 2011-01-01 | never
        """,
    )


def test_action_removed_ends_the_life_and_begins_none() -> None:
    must_follow(
        lives_of(boats=BOAT, fittings=ONE, inspections=looks("B|F|2008-05-02|visual|relevant|removed")),
        """
        life_id | ended_on   | end_reason | upper      | open_indication_on
        B/F/1   | 2008-05-02 | removed    | 2008-05-02 | -
        """,
    )


def test_a_rows_removal_at_its_replacement_is_not_the_end_of_the_new_part_but_a_later_one_is() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed   | removal_reason
    B       | F          | chainplate   | 316      | 2000-03-01 | {removed} | indication
    """
    look = looks("B|F|2010-04-01|visual|no_indication|replaced")
    must_follow(
        lives_of(boats=BOAT, fittings=fittings.format(removed="2010-04-20"), inspections=look),
        """
        life_id | ended_on   | end_reason | removal_reason | upper
        B/F/1   | 2010-04-01 | replaced   | indication     | 2010-04-01
        B/F/2   | 2020-01-01 | in_service | -              | never
        """,
    )
    must_follow(
        lives_of(boats=BOAT, fittings=fittings.format(removed="2015-01-01"), inspections=look),
        """
        life_id | ended_on   | end_reason | removal_reason | upper
        B/F/1   | 2010-04-01 | replaced   | -              | never
        B/F/2   | 2015-01-01 | removed    | indication     | 2015-01-01
        """,
    )


def test_a_look_on_the_day_of_replacement_belongs_to_the_old_part() -> None:
    look = looks("B|F|2010-04-01|visual|relevant|", "B|F|2010-04-02|visual|no_indication|")
    must_follow(
        lives_of(boats=BOAT, fittings=TWO.format(removed="2010-04-01", installed="2010-04-01"), inspections=look),
        """
        life_id | ended_on   | end_reason | look_count | upper      | clear
        B/F/1   | 2010-04-01 | replaced   | 1          | 2010-04-01 | -
        B/F/2   | 2020-01-01 | in_service | 1          | never      | 2010-04-02
        """,
    )


def test_a_part_with_none_before_it_takes_looks_on_its_own_first_day() -> None:
    look = looks("B|F|2000-03-01|visual|no_indication|", "B|F|2010-04-01|visual|no_indication|")
    must_follow(
        lives_of(boats=BOAT, fittings=TWO.format(removed="2009-01-01", installed="2010-04-01"), inspections=look),
        """
        life_id | look_count | clear
        B/F/1   | 1          | 2000-03-01
        B/F/2   | 1          | 2010-04-01
        """,
    )


def test_parts_are_ordered_by_their_days_whatever_the_order_of_rows_and_undated_ones_by_their_removal() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed
    B       | F          | chainplate   | third    | 2012-01-01 |
    B       | F          | chainplate   | second   | 2006-01-01 | 2012-01-01
    B       | F          | chainplate   | first    |            | 2006-01-01
    """
    must_follow(
        lives_of(boats=BOAT, fittings=fittings),
        """
        life_id | material | installed_on | age_basis | installed_latest | ended_on
        B/F/1   | first    | 2000-01-01   | bounded   | 2006-01-01       | 2006-01-01
        B/F/2   | second   | 2006-01-01   | stated    | 2006-01-01       | 2012-01-01
        B/F/3   | third    | 2012-01-01   | stated    | 2012-01-01       | 2020-01-01
        """,
    )


def test_a_part_of_unknown_day_comes_before_the_one_put_in_about_when_it_was_taken_out() -> None:
    """The middle of 2025-01 is before 2025-01-18, and yet the part taken out that day is the older one."""
    for first in ("", "2010"):
        fittings = f"""
        boat_id | fitting_id | fitting_type | material | installed | removed
        B       | F          | chainplate   | first    | {first}   | 2015-01-18
        B       | F          | chainplate   | second   | 2015-01   |
        """
        must_follow(
            lives_of(boats=BOAT, fittings=fittings),
            """
            life_id | material | installed_latest | ended_on   | end_reason
            B/F/1   | first    | {}               | 2015-01-18 | removed
            B/F/2   | second   | 2015-01-31       | 2020-01-01 | in_service
            """.format("2010-12-31" if first else "2015-01-16"),
        )


def test_a_part_known_only_to_be_no_newer_than_a_year_was_there_before_it_was_replaced_in_that_year() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed
    B       | F          | chainplate   | first    | ../2007    | 2007-09-21
    B       | F          | chainplate   | second   | 2007-09-25 |
    """
    must_follow(
        lives_of(boats=BOAT, fittings=fittings, inspections=looks("B|F|2007-09-21|visual|relevant|replaced")),
        """
        life_id | material | installed_on | ended_on   | upper
        B/F/1   | first    | 2000-01-01   | 2007-09-21 | 2007-09-21
        B/F/2   | second   | 2007-09-25   | 2020-01-01 | never
        """,
    )


def test_places_and_boats_are_kept_apart() -> None:
    boats = BOAT + "C | 2000-01-01 | 2000-01-01"
    fittings = ONE + "\n".join(
        ["B | G | chainplate | 316 | 2001-01-01 | | | |", "C | F | chainplate | 316 | 2002-01-01 | | | |"]
    )
    look = looks("B|G|2010-04-01|visual|relevant|replaced", "C|F|2011-04-01|visual|no_indication|")
    must_follow(
        lives_of(boats=boats, fittings=fittings, inspections=look),
        """
        life_id | look_count | ended_on
        B/F/1   | 0          | 2020-01-01
        B/G/1   | 1          | 2010-04-01
        B/G/2   | 0          | 2020-01-01
        C/F/1   | 1          | 2020-01-01
        """,
    )


def test_of_two_removals_told_by_looks_the_first_took_out_the_old_part_and_the_second_the_new_one() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed
    B       | F          | chainplate   | 316      | 2000-03-01
    B       | F          | chainplate   | titanium |
    """
    told = looks("B|F|2008-05-01|visual|no_indication|removed", "B|F|2012-05-01|visual|no_indication|removed")
    must_follow(
        lives_of(boats=BOAT, fittings=fittings, inspections=told),
        """
        life_id | material | age_basis | installed_earliest | installed_latest | ended_on   | end_reason
        B/F/1   | 316      | stated    | 2000-03-01         | 2000-03-01       | 2008-05-01 | replaced
        B/F/2   | titanium | bounded   | 2008-05-01         | 2012-05-01       | 2012-05-01 | removed
        """,
    )
