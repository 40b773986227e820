"""What counts today: events, open indications, the as-of date, coverage; records as drawn, answers worked by hand."""

from __future__ import annotations

from datetime import date

import duckdb
import pytest

from bobstay.errors import UnusableDataError
from bobstay.lives import build_lives, newest_day
from bobstay.settings import Settings, from_tree
from bobstay.tables import COVERAGE, LIFE_LOOKS, LIVES
from drawn_fleet import AS_OF, filled, lives_of, looks_of, must_follow, table

BOAT = "boat_id | built | joined \n B | 1990-01-01 | 1990-01-01"
PART = "boat_id | fitting_id | fitting_type | material | installed \n B | F | Mast  Tang | 316 | 1995-01-01"
LOOKS = "boat_id | fitting_id | inspected_on | method | result | scope | action"
CLEAR = LOOKS + "\nB | F | 2010-01-01 | visual | no_indication | |"
EVENTS = "boat_id | happened_on | kind | fitting_types"


@pytest.mark.parametrize(
    ("event", "kept", "by"),
    [
        ("2012-05-01 | grounding |", "-", "grounding 2012-05-01"),
        ("2010-01-02 | lightning |", "-", "lightning 2010-01-02"),
        ("2010-01-01 | lightning |", "2010-01-01", "-"),
        ("2008-05-01 | dismasting |", "2010-01-01", "-"),
        ("2012 | collision |", "-", "collision 2012"),
        ("2012-05-01 | refit | chainplate; mast_tang", "-", "refit 2012-05-01"),
        ("2012-05-01 | refit | MAST TANG", "-", "refit 2012-05-01"),
        ("2012-05-01 | refit | mast; tang; keel bolt", "2010-01-01", "-"),
        ("2021-05-01 | grounding |", "2010-01-01", "-"),
    ],
)
def test_an_event_voids_earlier_clear_looks_for_ranking_only(event: str, kept: str, by: str) -> None:
    lives = lives_of(boats=BOAT, fittings=PART, inspections=CLEAR, events=f"{EVENTS}\nB | {event}")
    must_follow(lives, f"lower | clear | ranking_clear | voided_by \n 2010-01-01 | 2010-01-01 | {kept} | {by}")


def test_a_clear_look_after_the_event_counts_and_other_boats_events_do_not() -> None:
    events = f"{EVENTS}\nB | 2009-01-01 | grounding |\nB | 2008-01-01 | lightning |\nC | 2012-01-01 | grounding |"
    lives = lives_of(boats=BOAT, fittings=PART, inspections=CLEAR, events=events)
    must_follow(lives, "ranking_clear | voided_by \n 2010-01-01 | -")


def test_an_event_tells_nothing_of_a_part_put_in_after_it() -> None:
    replaced = CLEAR + "\nB | F | 2013-01-01 | visual | no_indication | | replaced"
    replaced += "\nB | F | 2014-01-01 | visual | no_indication | |"
    events = f"{EVENTS}\nB | 2012-01-01 | grounding |"
    lives = lives_of(boats=BOAT, fittings=PART, inspections=replaced, events=events)
    must_follow(lives, "clear | ranking_clear \n 2013-01-01 | 2013-01-01 \n 2014-01-01 | 2014-01-01")


def test_an_indication_stays_open_whatever_clear_look_follows_until_the_part_is_gone() -> None:
    found = LOOKS + "\nB|F|2008-01-01|visual|relevant||blended\nB|F|2009-01-01|visual|relevant||"
    lives = lives_of(boats=BOAT, fittings=PART, inspections=found + "\nB|F|2010-01-01|visual|no_indication||")
    must_follow(lives, "open_indication_on | clear | upper \n 2008-01-01 | 2010-01-01 | 2008-01-01")
    gone = found + "\nB|F|2010-01-01|visual|no_indication||replaced"
    must_follow(
        lives_of(boats=BOAT, fittings=PART, inspections=gone), "life_id | open_indication_on \n B/F/1 | - \n B/F/2 | -"
    )


def test_an_indication_called_unfounded_is_not_open() -> None:
    lives = lives_of(boats=BOAT, fittings=PART, inspections=LOOKS + "\nB|F|2008-01-01|visual|false||")
    must_follow(lives, "open_indication_on | indication_count \n - | 0")


def test_what_comes_after_the_as_of_date_is_not_yet_known() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed    | removal_reason
    B       | F          | chainplate   | first    | 1995-01-01 | 2010-01-01 | indication
    B       | F          | chainplate   | second   | 2010-01-01 |            |
    """
    looks = LOOKS + "\nB|F|2004-01-01|visual|no_indication||\nB|F|2009-01-01|visual|relevant||replaced"
    early = lives_of(boats=BOAT, fittings=fittings, inspections=looks, as_of=date(2008, 1, 1))
    must_follow(
        early,
        """
        life_id | ended_on   | end_reason | removal_reason | lower      | upper | look_count | open_indication_on
        B/F/1   | 2008-01-01 | in_service | -              | 2004-01-01 | never | 1          | -
        """,
    )
    must_follow(
        lives_of(boats=BOAT, fittings=fittings, inspections=looks, as_of=date(2009, 6, 1)),
        """
        life_id | material | ended_on   | end_reason | upper
        B/F/1   | first    | 2009-01-01 | replaced   | 2009-01-01
        B/F/2   | first    | 2009-06-01 | in_service | never
        """,
    )


def test_the_last_valid_look_of_a_day_is_the_one_by_the_surest_method() -> None:
    told = LOOKS + "\nB|F|2010-01-01|penetrant|no_indication|removed|\nB|F|2010-01-01|visual|no_indication|removed|"
    told += "\nB|F|2012-01-01|ultrasonic|inconclusive||"
    lives = lives_of(boats=BOAT, fittings=PART, inspections=told)
    must_follow(lives, "last_valid_look | last_method \n 2010-01-01 | penetrant")
    surer = from_tree({"detection": {"visual": {"found": 0.95}}})
    lives = lives_of(boats=BOAT, fittings=PART, inspections=told, settings=surer)
    must_follow(lives, "last_valid_look | last_method \n 2010-01-01 | visual")


def _built(names: tuple[str, ...], **tables: str) -> list[list[dict[str, object]]]:
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, **tables)
        build_lives(con, as_of=AS_OF, settings=Settings())
        return [table(con, name, "ALL") for name in names]


def test_coverage_counts_looks_at_the_part_now_in_place() -> None:
    fittings = PART + "\nB | G | Mast  Tang | 316 | 1995-01-01 \n B | H | keel bolt | iron | 1995-01-01"
    told = LOOKS + "\nB|F|2010-01-01|penetrant|no_indication|removed|replaced"  # of the part before: not counted
    told += "\nB|F|2012-01-01|penetrant|no_indication|in_place|\nB|G|2013-01-01|visual|relevant|removed|"
    told += "\nB|H|2013-01-01|visual|not_inspected||"
    (rows,) = _built(("coverage",), boats=BOAT, fittings=fittings, inspections=told)
    must_follow(
        rows,
        """
        boat_id | fitting_type | fittings | looked | last_valid_look | best_method
        B       | Mast  Tang   | 2        | 2      | 2013-01-01      | penetrant
        B       | keel bolt    | 1        | 0      | -               | -
        """,
    )


def test_the_best_method_of_a_type_is_the_surest_of_all_looks_not_the_last() -> None:
    told = LOOKS + "\nB|F|2010-01-01|magnified|no_indication||\nB|F|2012-01-01|penetrant|no_indication|removed|"
    told += "\nB|F|2014-01-01|visual|no_indication||"
    (rows,) = _built(("coverage",), boats=BOAT, fittings=PART, inspections=told)
    must_follow(rows, "looked | last_valid_look | best_method \n 1 | 2014-01-01 | penetrant")


def test_looks_at_a_place_with_no_part_in_it_are_counted_apart() -> None:
    fittings = """
    boat_id | fitting_id | fitting_type | material | installed  | removed
    B       | F          | chainplate   | 316      | 1995-01-01 | 2005-01-01
    """
    told = (
        LOOKS
        + "\nB|F|2005-01-01|visual|no_indication||\nB|F|2005-01-02|visual|relevant||\nB||2006-01-01|visual|relevant||"
    )
    orphans, looks = _built(("orphan_looks", "life_looks"), boats=BOAT, fittings=fittings, inspections=told)
    must_follow(orphans, "file_id | line | boat_id | fitting_id | look_on \n 3 | 3 | B | F | 2005-01-02")
    must_follow(looks, "line | look_on \n 2 | 2005-01-01")


def test_tables_have_just_the_promised_columns_and_nothing_else_is_left_behind() -> None:
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, boats=BOAT, fittings=PART, inspections=CLEAR)
        before = {name for (name,) in con.execute("SHOW TABLES").fetchall()}
        build_lives(con, as_of=AS_OF, settings=Settings())
        after = {name for (name,) in con.execute("SHOW TABLES").fetchall()}
        assert after - before == {"spells", "life_looks", "orphan_looks", "lives", "coverage"}
        for promise in (LIVES, LIFE_LOOKS, COVERAGE):
            heads = [d[0] for d in con.execute(f"SELECT * FROM {promise.name}").description or ()]
            assert heads == list(promise.column_names)


def test_a_store_without_rows_gives_empty_tables() -> None:
    assert _built(("lives", "life_looks", "coverage", "orphan_looks")) == [[], [], [], []]


def test_a_failure_leaves_the_tables_as_they_were() -> None:
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, boats=BOAT, fittings=PART, inspections=CLEAR)
        build_lives(con, as_of=AS_OF, settings=Settings())
        con.execute("ALTER TABLE events DROP COLUMN kind")
        con.execute("DELETE FROM inspections")
        with pytest.raises(duckdb.Error):
            build_lives(con, as_of=AS_OF, settings=Settings())
        assert len(table(con, "life_looks", "ALL")) == 1


@pytest.mark.parametrize(
    ("today", "newest"),
    [
        ("2019-06-01", "2012-12-31"),
        ("2012-06-01", "2012-01-01"),
        ("2011-06-01", "2011-03-04"),
        ("1999-01-01", "1995-01-01"),
    ],
)
def test_the_newest_day_is_never_after_today(today: str, newest: str) -> None:
    """A year that is not over counts from its first day, so that the answer does not move from day to day."""
    events = f"{EVENTS}\nB | 2011-03-04 | grounding |"
    told = LOOKS + "\nB|F|2012|visual|no_indication||"
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, boats=BOAT, fittings=PART, inspections=told, events=events)
        assert str(newest_day(con, today=date.fromisoformat(today))) == newest


def test_records_without_any_day_have_no_newest_day() -> None:
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, boats=BOAT)
        with pytest.raises(UnusableDataError, match="as-of date"):
            newest_day(con)


def test_removal_and_installation_days_count_for_the_newest_day() -> None:
    fittings = PART.replace("installed", "installed | removed").replace("1995-01-01", "1995-01-01 | 2007-02-03")
    with duckdb.connect(config={"threads": 1}) as con:
        filled(con, boats=BOAT, fittings=fittings)
        assert newest_day(con) == date(2007, 2, 3)
    assert looks_of(boats=BOAT, fittings=fittings) == []
