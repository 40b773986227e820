"""What a look shows and is worth: records as drawn, and the looks and ages that must follow, worked by hand.

The minima of a penetrant test are clean surface, penetrant dwell 5 min, developer dwell
10 min (common practice, no source), part at 10 to 50 C (standard range of ISO 3452-2).
"""

from __future__ import annotations

import pytest

from drawn_fleet import built, lives_of, looks_of, must_follow

BOAT = "boat_id | built | joined \n B | 2000-01-01 | 2000-01-01"
PART = "boat_id | fitting_id | fitting_type | material | installed \n B | F | chainplate | 316 | 2000-03-01"
HEADS = (
    "boat_id|fitting_id|inspected_on|method|result|scope|surface_cleaned|penetrant_dwell_min|developer_dwell_min"
    "|part_temp_c|disposition|cells_unread\n"
)


def seen(rest: str, *, day: str = "2005-01-01") -> str:
    return f"{HEADS}B|F|{day}|{rest}"


def follows(rest: str, looks: str, life: str) -> None:
    lives, seen_looks = built(boats=BOAT, fittings=PART, inspections=seen(rest))
    must_follow(seen_looks, f"shows | verdict | grade | grade_reason \n {looks}")
    must_follow(lives, f"lower | upper | look_count | clear_count | indication_count \n {life}")


CLEAR = "2005-01-01 | never | 1 | 1 | 0"
FOUND = "2000-03-01 | 2005-01-01 | 1 | 0 | 1"
NOTHING = "2000-03-01 | never | 1 | 0 | 0"


@pytest.mark.parametrize(
    ("rest", "looks", "life"),
    [
        ("visual|no_indication|removed||||||", "clear | none | valid | -", CLEAR),
        ("eddy_current|no_indication|in_place|no|1|1|3||", "clear | none | valid | -", CLEAR),
        ("visual|relevant||||||open|", "indication | open | valid | -", FOUND),
        ("visual|relevant|||||||", "indication | open | valid | -", FOUND),
        ("visual|relevant||||||confirmed|", "indication | confirmed | valid | -", FOUND),
        ("visual|failed|||||||", "indication | confirmed | valid | -", FOUND),
        ("visual|inconclusive|||||||", "nothing | none | no_information | inconclusive", NOTHING),
        ("visual|not_inspected|||||||", "nothing | none | no_information | not inspected", NOTHING),
        ("visual|non_relevant|||||||", "indication | unfounded | valid | -", CLEAR),
        ("visual|false|||||||", "indication | unfounded | valid | -", CLEAR),
        ("visual|relevant||||||unfounded|", "indication | unfounded | valid | -", CLEAR),
    ],
)
def test_what_a_result_shows(rest: str, looks: str, life: str) -> None:
    follows(rest, looks, life)


@pytest.mark.parametrize("method", ["penetrant", "fluorescent_penetrant"])
@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ("no|5|10|20", "surface not cleaned"),
        ("yes|4.9|10|20", "penetrant dwell under 5 min"),
        ("yes|5|9|20", "developer dwell under 10 min"),
        ("yes|5|10|9.5", "part outside 10 to 50 C"),
        ("yes|5|10|50.5", "part outside 10 to 50 C"),
        ("no|5||4", "surface not cleaned; part outside 10 to 50 C"),
    ],
)
def test_a_look_below_the_minima_counts_only_if_it_found_something(method: str, cells: str, reason: str) -> None:
    follows(f"{method}|no_indication|removed|{cells}||", f"nothing | none | below_minima | {reason}", NOTHING)
    follows(f"{method}|relevant|removed|{cells}||", f"indication | open | below_minima | {reason}", FOUND)
    follows(f"{method}|failed|removed|{cells}||", f"indication | confirmed | below_minima | {reason}", FOUND)
    follows(f"{method}|false|removed|{cells}||", f"indication | unfounded | below_minima | {reason}", CLEAR)


@pytest.mark.parametrize(
    ("cells", "grade"),
    [
        ("yes|5|10|10", "valid | -"),
        ("yes|5|10|50", "valid | -"),
        ("|5|10|20", "not_stated | not stated: surface cleaned"),
        ("|||", "not_stated | not stated: surface cleaned, penetrant dwell, developer dwell, part temperature"),
    ],
)
def test_minima_met_or_not_stated_are_valid(cells: str, grade: str) -> None:
    follows(f"penetrant|no_indication|removed|{cells}||", f"clear | none | {grade}", CLEAR)


def test_a_cell_that_could_not_be_read_keeps_a_look_from_being_clear_but_never_hides_a_finding() -> None:
    because = "no_information | could not be read: part_temp_c, note"
    follows("penetrant|no_indication||yes|5|10|||part_temp_c;note", f"nothing | none | {because}", NOTHING)
    follows("visual|relevant|||||||disposition", "indication | open | valid | -", FOUND)
    follows("visual|no_indication|||||||inspector;note", "clear | none | valid | -", CLEAR)


def test_scope_not_stated_counts_as_in_place_and_a_look_names_its_file_and_line() -> None:
    inspections = seen("visual|no_indication|||||||") + "\nB|F|2006-01-01|visual|no_indication|removed||||||"
    must_follow(
        looks_of(boats=BOAT, fittings=PART, inspections=inspections),
        """
        life_id | method | scope    | file      | line | trigger
        B/F/1   | visual | in_place | file3.csv | 2    | -
        B/F/1   | visual | removed  | file3.csv | 3    | -
        """,
    )


def test_a_row_for_the_whole_boat_tells_nothing_of_a_fitting() -> None:
    tables = {
        "boats": BOAT,
        "fittings": PART,
        "inspections": seen("visual|no_indication|||||||").replace("B|F|", "B||"),
    }
    assert looks_of(**tables) == []
    must_follow(lives_of(**tables), "lower | upper | look_count \n 2000-03-01 | never | 0")


@pytest.mark.parametrize(
    ("day", "result", "look_on"),
    [
        ("2005", "no_indication", "2005-01-01"),
        ("2005", "false", "2005-01-01"),
        ("2005", "relevant", "2005-12-31"),
        ("2005-02", "failed", "2005-02-28"),
        ("2005", "inconclusive", "2005-07-02"),
        ("2000", "no_indication", "2000-03-01"),
        ("../2005", "relevant", "2005-12-31"),
        ("2005/..", "relevant", "2020-01-01"),
        ("2020", "relevant", "2020-01-01"),
        ("2005/..", "no_indication", "2005-01-01"),
    ],
)
def test_a_rough_clear_look_counts_at_its_earliest_day_and_a_rough_finding_at_its_latest(
    day: str, result: str, look_on: str
) -> None:
    tables = {"boats": BOAT, "fittings": PART, "inspections": seen(f"visual|{result}|||||||", day=day)}
    must_follow(looks_of(**tables), f"look_on \n {look_on}")


def test_a_clear_look_whose_earliest_day_is_not_known_tells_nothing() -> None:
    tables = {"boats": BOAT, "fittings": PART, "inspections": seen("visual|no_indication|||||||", day="../2005")}
    must_follow(looks_of(**tables), "shows | grade | grade_reason \n nothing | no_information | earliest day not known")


def test_a_rough_look_stays_within_its_part() -> None:
    """A finding of 2010 had shown by 2010-08-01 where a new part came then, else it is the new one's."""
    fittings = PART + "\nB | F | chainplate | 316 | {}"
    both = {"boats": BOAT, "inspections": seen("visual|relevant|||||||", day="2010")}
    late, early = fittings.format("2010-08-01"), fittings.format("2010-02-01")
    must_follow(looks_of(fittings=late, **both), "life_id | look_on \n B/F/1 | 2010-08-01")
    must_follow(looks_of(fittings=early, **both), "life_id | look_on \n B/F/2 | 2010-12-31")
    only = PART.replace("2000-03-01", "2010-10-01")
    must_follow(looks_of(fittings=only, **both), "life_id | look_on \n B/F/1 | 2010-12-31")
