"""Rules and notices from outside: whose age is the earliest, which parts a notice means, and what was done."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from bobstay.alerts import notice_status, watch
from bobstay.guidance import guide
from bobstay.outside import rules_of, speaks_of, strictest
from bobstay.rank import clear_looks, rank
from bobstay.settings import Settings, load
from decision_frames import AS_OF, Frames, fleet

BORN = pd.Timestamp("2010-05-01")


@pytest.fixture(scope="module")
def frames() -> Frames:
    return fleet(5, boat_count=6)


def rules(*rows: tuple[str, str | None, str | None, str, float]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["issuer", "fitting_type", "material", "kind", "years"])
    return frame.assign(source="their paper 4")


def test_a_rule_speaks_of_a_class_in_any_language_and_of_all_where_it_names_none() -> None:
    assert speaks_of("fitting_type", "Pütting", "chainplate")
    assert speaks_of("fitting_type", "", "anything at all")
    assert not speaks_of("fitting_type", "keel bolt", "chainplate")


def test_the_strictest_rule_of_a_kind_is_taken() -> None:
    told = rules_of(
        rules(
            ("Mutual", None, None, "renew_by", 10.0),
            ("Body", "chainplate", None, "renew_by", 8.0),
            ("Body", "chainplate", None, "retest", 1.0),
        )
    )
    assert strictest(told, "renew_by", "chainplate", "bronze").issuer == "Body"  # type: ignore[union-attr]
    assert strictest(told, "renew_by", "keel bolt", "bronze").issuer == "Mutual"  # type: ignore[union-attr]
    assert strictest(told, "test_from", "chainplate", "bronze") is None


def test_guidance_shows_the_rule_beside_ours_and_says_whose_is_the_earliest(frames: Frames) -> None:
    asked = rules(("Mutual", None, None, "renew_by", 0.5), ("Body", None, None, "test_from", 90.0))
    made = guide(frames.classes, frames.class_draws, frames.lives, settings=Settings(), rules=asked)
    assert (made["replace_by_rule_years"] == 0.5).all()
    assert (made["replace_by_rule_by"] == "Mutual").all()
    assert made["earliest"].str.contains(r"renew: Mutual \(0.5 years, their paper 4\)").all()
    assert made["earliest"].str.contains(r"test: our guidance, before Body \(90 years\)").all()
    assert made["retest_rule_years"].isna().all()


def one(frames: Frames, **facts: object) -> Frames:
    """Return one chainplate put in in May 2010, with the given facts."""
    life = frames.lives[frames.lives["fitting_type"] == "chainplate"].iloc[[0]].copy()
    known = {
        "installed_on": BORN, "installed_earliest": BORN, "installed_latest": BORN, "supplier": "North", "batch": "L1",
        "open_indication_on": pd.NaT, "indication_count": 0, "ranking_clear_years": 12.0, "voided_before": pd.NaT,
        "age_years": 16.5,
    }  # fmt: skip
    for name, value in (known | facts).items():
        life[name] = value
    chance = frames.chances[frames.chances["life_id"] == life["life_id"].iloc[0]].copy()
    for name, value in {"chance": 0.01, "chance_lower": 0.005, "chance_upper": 0.02, "chance_now": 0.008}.items():
        chance[name] = value
    return replace(frames, lives=life, chances=chance.assign(logit_sd=0.4))


def ranked(frames: Frames, **tables: pd.DataFrame) -> pd.Series:
    made = rank(
        frames.lives, frames.chances, boats=frames.boats, looks=frames.looks, settings=Settings(), as_of=AS_OF, **tables
    )
    return made.iloc[0]


def test_a_rule_that_is_due_overrules_the_costs_and_says_so(frames: Frames) -> None:
    mine = one(frames)
    asked = rules(("Mutual", "chainplate", None, "renew_by", 10.0))
    guidance = guide(mine.classes, mine.class_draws, mine.lives, settings=Settings(), rules=asked)
    without, with_rule = ranked(mine), ranked(mine, guidance=guidance)
    assert without["action"] != "replace"
    assert with_rule["action"] == "replace"
    assert with_rule["margin"] < 0
    assert "the rule of Mutual asks for it (10 years, due 2020-04-30)" in with_rule["reason"]
    far = guide(mine.classes, mine.class_draws, mine.lives, settings=Settings(), rules=asked.assign(years=60.0))
    assert ranked(mine, guidance=far)["action"] == without["action"]


def test_the_day_due_is_the_earliest_and_a_test_since_that_age_is_no_first_test(frames: Frames) -> None:
    """Ages from May 2010, the last clear look at 12 years (May 2022): a retest of 1.5 years is due in October 2023."""
    mine = one(frames)
    guidance = guide(mine.classes, mine.class_draws, mine.lives, settings=Settings())
    guidance = guidance.assign(test_from_years=5.0, retest_years=1.5, replace_by_years=20.0)
    made = ranked(mine, guidance=guidance)
    assert (made["due_action"], made["due_by"], made["due_years"]) == ("test", "our guidance", 1.5)
    assert abs((made["due_on"] - pd.Timestamp("2023-10-30")).days) <= 2


def notices(**facts: object) -> pd.DataFrame:
    row: dict[str, object] = {
        "notice_id": "N1", "issued_on_earliest": pd.Timestamp("2024-03-01"), "fitting_type": "chainplate",
        "material": None, "supplier": "North", "batch": "L1", "installed_from_earliest": pd.NaT,
        "installed_to_latest": pd.NaT, "action": "replace", "source": "the maker",
    }  # fmt: skip
    return pd.DataFrame([row | facts])


NO_ROWS = pd.DataFrame({"boat_id": [], "fitting_id": [], "removed_latest": [], "installed_earliest": [], "file": [],
                        "line": []})  # fmt: skip


@pytest.mark.parametrize(
    ("part", "asked", "match"),
    [
        ({}, {}, ["sure"]),
        ({"batch": None}, {}, ["possible"]),
        ({"batch": "L2"}, {}, []),
        ({}, {"installed_to_latest": pd.Timestamp("2010-12-31")}, ["sure"]),
        ({}, {"installed_from_earliest": pd.Timestamp("2011-01-01")}, []),
        ({"installed_latest": pd.Timestamp("2012-01-01")}, {"installed_from_earliest": pd.Timestamp("2011-01-01")},
         ["possible"]),
        ({"installed_on": pd.Timestamp("2025-01-01"), "installed_earliest": pd.Timestamp("2025-01-01")}, {}, []),
    ],
)  # fmt: skip
def test_which_parts_a_notice_means(
    frames: Frames, part: dict[str, object], asked: dict[str, object], match: list[str]
) -> None:
    mine = one(frames, **part)
    made = notice_status(notices(**asked), mine.lives, mine.looks.iloc[:0], NO_ROWS)
    assert list(made["match"]) == match


def look_on(life_id: str, day: str, method: str) -> pd.DataFrame:
    look = {"life_id": life_id, "look_on": pd.Timestamp(day), "look_years": 14.0, "method": method, "scope": "removed"}
    look |= {"shows": "clear", "verdict": "none", "grade": "valid", "grade_reason": None, "trigger": "scheduled"}
    return pd.DataFrame([look | {"file": "looks.csv", "line": 7}])


@pytest.mark.parametrize(
    ("day", "method", "done"),
    [("2024-05-01", "penetrant", "looks.csv:7"), ("2024-02-01", "penetrant", None), ("2024-05-01", "visual", None)],
)
def test_a_notice_that_asks_for_a_test_is_done_by_one_since(
    frames: Frames, day: str, method: str, done: str | None
) -> None:
    mine = one(frames)
    looks = look_on(mine.lives["life_id"].iloc[0], day, method)
    row = notice_status(notices(action="test"), mine.lives, looks, NO_ROWS).iloc[0]
    assert row["status"] == ("done" if done else "open")
    assert (row["done_by"] if done else None) == done


def test_a_part_taken_out_since_is_done_with_and_its_row_is_named(frames: Frames) -> None:
    out = pd.Timestamp("2024-06-01")
    mine = one(frames, is_in_service=False, end_reason="replaced", ended_on=out)
    place = mine.lives.iloc[0]
    rows = pd.DataFrame({"boat_id": [place["boat_id"]], "fitting_id": [place["fitting_id"]], "removed_latest": [out],
                         "installed_earliest": [BORN], "file": ["fittings.csv"], "line": [9]})  # fmt: skip
    made = notice_status(notices(), mine.lives, mine.looks.iloc[:0], rows).iloc[0]
    assert (made["status"], made["done_by"], made["done_on"]) == ("done", "fittings.csv:9", out)


def test_an_open_notice_is_an_alert_and_asks_for_its_action(frames: Frames) -> None:
    mine = one(frames)
    status = notice_status(notices(), mine.lives, mine.looks.iloc[:0], NO_ROWS)
    made = ranked(mine, notices=status)
    assert made["action"] == "replace"
    assert "notice N1 asks for it since 2024-03-01" in made["reason"]
    raised = watch(mine.lives, mine.looks.iloc[:0], mine.classes, boats=mine.boats, settings=Settings(), as_of=AS_OF,
                   notices=status)  # fmt: skip
    found = raised[raised["kind"] == "notice"]
    assert found["seen"].tolist() == [1.0]
    assert "asks for renewal: 1 of 1 parts are open" in found["note"].iloc[0]
    possible = status.assign(match="possible")
    assert (
        ranked(mine, notices=possible)["action"] != "replace"
    )  # not known to be meant: told in the alert, not ordered


def test_every_clear_look_says_until_when_it_counts_and_what_it_saw(frames: Frames) -> None:
    """Looked at in May 2025, counts two years; a grounding in between ends it that day."""
    mine = one(frames, ranking_clear_years=15.0)
    looks = look_on(mine.lives["life_id"].iloc[0], "2025-05-01", "penetrant")
    mine = replace(mine, looks=looks)
    made = rank(mine.lives, mine.chances, boats=mine.boats, looks=looks, settings=Settings(), as_of=AS_OF)
    row = clear_looks(made, mine.lives, looks, settings=Settings(), as_of=AS_OF).iloc[0]
    assert abs((row["counts_until"].date() - date(2027, 5, 1)).days) <= 1
    assert row["counts"] and row["sees"] == "the whole part, taken off"
    assert made["clear_scope"].iloc[0] == "removed"
    struck = mine.lives.assign(voided_before=pd.Timestamp("2026-01-10"), ranking_clear_years=np.nan)
    made = rank(struck, mine.chances, boats=mine.boats, looks=looks, settings=Settings(), as_of=AS_OF)
    row = clear_looks(made, struck, looks, settings=Settings(), as_of=AS_OF).iloc[0]
    assert (row["counts_until"], row["ended_by"], row["counts"]) == (
        pd.Timestamp("2026-01-10"),
        "an event on the boat",
        False,
    )


def test_a_class_that_was_moved_says_why_or_that_nobody_said(frames: Frames, tmp_path) -> None:
    stated = ranked(one(frames, consequence=2, consequence_reason="backed up by a second plate"))
    assert stated["consequence_reason"] == "class 2 and not 4: backed up by a second plate"
    assert stated["consequence_reason"] in stated["reason"]
    silent = ranked(one(frames, consequence=2, consequence_reason=None))
    assert silent["consequence_reason"] == "class 2 and not 4: no reason is written down"
    path = tmp_path / "bobstay.toml"
    path.write_text('[consequence]\nchainplate = 5\n[consequence.reasons]\nchainplate = "one only, no backup"\n')
    mine = one(frames)
    made = rank(mine.lives, mine.chances, boats=mine.boats, looks=mine.looks, settings=load(path), as_of=AS_OF)
    assert made["consequence_reason"].iloc[0] == "class 5 and not 4 by the settings: one only, no backup"
    assert pd.isna(ranked(mine)["consequence_reason"])


def test_lots_fall_on_low_places_that_are_left_and_by_season() -> None:
    frames = fleet(6, boat_count=12)

    def drawn(count: int, as_of: date) -> pd.DataFrame:
        settings = replace(Settings(), rank=replace(Settings().rank, draw=count))
        return rank(
            frames.lives, frames.chances, boats=frames.boats, looks=frames.looks, settings=settings, as_of=as_of
        )

    made = drawn(4, AS_OF)
    lots = made[made["draw"]]
    length = made.groupby("list")["rank"].transform("max")[lots.index]
    assert len(lots) == 4
    assert (lots["action"] == "leave").all()
    assert (lots["rank"] > length / 2).all()
    assert lots["reason"].str.contains("Drawn by lot this season").all()
    assert not drawn(0, AS_OF)["draw"].any()
    same_season, next_season = drawn(4, date(2027, 1, 31)), drawn(4, date(2027, 8, 1))
    assert set(same_season.loc[same_season["draw"], "life_id"]) & set(lots["life_id"])
    assert set(next_season.loc[next_season["draw"], "life_id"]) != set(lots["life_id"])
