"""Ranking: lists, places, choices, words. Expected numbers are worked out by hand from the settings unless said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from bobstay.rank import rank
from bobstay.rank.choice import Stakes, weigh
from bobstay.rank.order import rank_range, tie_groups
from bobstay.rank.words import _next, percent
from bobstay.settings import Costs, Rates, Settings
from decision_frames import AS_OF, Frames, fleet


def ranked(frames: Frames, settings: Settings | None = None) -> pd.DataFrame:
    return rank(
        frames.lives,
        frames.chances,
        boats=frames.boats,
        looks=frames.looks,
        settings=settings or Settings(),
        as_of=AS_OF,
    )


@pytest.fixture(scope="module")
def frames() -> Frames:
    return fleet(1, boat_count=12)


@pytest.fixture(scope="module")
def priority(frames: Frames) -> pd.DataFrame:
    return ranked(frames)


def test_every_life_in_service_stands_once_and_no_other(frames: Frames) -> None:
    lives = frames.lives.copy()
    lives.loc[lives.index[:7], "is_in_service"] = False
    made = ranked(replace(frames, lives=lives))
    assert sorted(made["life_id"]) == sorted(lives["life_id"][7:])


def test_places_count_from_one_within_each_list_by_falling_loss(priority: pd.DataFrame) -> None:
    for _, rows in priority.groupby("list"):
        assert list(rows["rank"]) == list(range(1, len(rows) + 1))
        acts = (rows["action"] == "act_now").to_numpy()
        assert not np.any(np.diff(acts.astype(int)) > 0)
        loss = rows.loc[~acts, "expected_loss"]
        known = loss.dropna().to_numpy()
        assert np.all(np.diff(known) <= 0)
        assert loss.iloc[: len(known)].notna().all()  # those without an estimate come last


def test_expected_loss_is_chance_times_the_units_of_the_class(priority: pd.DataFrame) -> None:
    units = priority["consequence"].map(Settings().consequence.units)
    pd.testing.assert_series_equal(priority["expected_loss"], priority["chance"] * units, check_names=False)


def test_a_stated_consequence_wins_over_its_type(frames: Frames) -> None:
    lives = frames.lives.copy()
    lives.loc[lives.index[0], "consequence"] = 1
    made = ranked(replace(frames, lives=lives)).set_index("life_id")
    assert made.loc[lives["life_id"].iloc[0], "consequence"] == 1


def test_lists_follow_what_still_counts(frames: Frames, priority: pd.DataFrame) -> None:
    lives = frames.lives.set_index("life_id").loc[priority["life_id"]]
    counts = lives["ranking_clear_years"].notna() | (lives["indication_count"] > 0)
    assert list(priority["list"]) == list(np.where(counts, "evidence", "nobody_looked"))
    assert set(priority["list"]) == {"evidence", "nobody_looked"}


def test_reasons_say_why_nobody_looked(frames: Frames, priority: pd.DataFrame) -> None:
    nobody = priority[priority["list"] == "nobody_looked"].set_index("life_id")
    lives = frames.lives.set_index("life_id").loc[nobody.index]
    looks = frames.looks[frames.looks["life_id"].isin(nobody.index)]
    voided = nobody[lives["voided_by"].notna()]
    assert len(voided)
    assert voided["reason"].str.contains("grounding 2026-05-01").all()
    worthless = nobody.loc[[x for x in looks["life_id"].unique() if pd.isna(lives.loc[x, "voided_by"])]]
    assert len(worthless)
    assert worthless["reason"].str.contains("below the method's minima").all()
    never = nobody[lives["look_count"] == 0]
    assert never["reason"].str.contains("no record names it").all()


def test_no_reason_calls_anything_safe_and_grave_parts_are_not_left_in_silence(priority: pd.DataFrame) -> None:
    assert not priority["reason"].str.contains("safe", case=False).any()
    left = priority[(priority["list"] == "nobody_looked") & (priority["action"] == "leave")]
    grave = left[(left["consequence"] >= 4) & left["chance"].notna()]
    assert len(grave)
    assert grave["reason"].str.contains("its failure is grave and nobody has looked").all()


def test_an_open_indication_is_acted_on_whatever_the_costs(frames: Frames) -> None:
    dear = replace(Settings(), costs=replace(Settings().costs, test=1e6, replace=1e6))
    made = ranked(frames, dear).set_index("life_id")
    is_open = frames.lives.set_index("life_id")["open_indication_on"].notna().loc[made.index]
    assert (made.loc[is_open, "action"] == "act_now").all()
    known = ~is_open & made["chance"].notna()
    assert (made.loc[known, "action"] == "leave").all()


def test_only_a_test_names_a_method_and_one_the_fleet_has_used_on_that_type(frames: Frames) -> None:
    made = ranked(frames)
    tested = made[made["action"] == "test"]
    assert len(tested)
    assert made.loc[made["action"] != "test", "method"].isna().all()
    kinds = frames.lives.set_index("life_id")["fitting_type"]
    used = set(zip(frames.looks["life_id"].map(kinds), frames.looks["method"], strict=True))
    assert set(zip(tested["fitting_type"], tested["method"], strict=True)) <= used


def test_without_any_chance_all_are_listed_by_class_then_age(frames: Frames) -> None:
    chances = frames.chances.copy()
    chances[["chance", "chance_lower", "chance_upper", "chance_now", "logit_sd"]] = np.nan
    made = ranked(replace(frames, chances=chances))
    rest = made[(made["list"] == "nobody_looked")]
    assert made["expected_loss"].isna().all()
    expected = rest.sort_values(["consequence", "age_years"], ascending=False)
    assert list(rest["life_id"]) == list(expected["life_id"])
    assert set(rest.loc[rest["consequence"] >= 4, "action"]) == {"test"}


def test_an_empty_fleet_gives_an_empty_list(frames: Frames) -> None:
    made = ranked(replace(frames, lives=frames.lives.iloc[:0], chances=frames.chances.iloc[:0]))
    assert len(made) == 0


def test_places_lie_within_the_places_they_could_take(priority: pd.DataFrame) -> None:
    assert (priority["rank_lower"] <= priority["rank"]).all()
    assert (priority["rank"] <= priority["rank_upper"]).all()


@pytest.mark.parametrize(
    ("log_losses", "sd", "expected"),
    [
        # a row joins when the distance is at most .5244 (the normal's .7 point) times sqrt(2) sd = .371 at sd .5
        ([2.0, 1.7, 1.4], 0.5, [0, 0, 1]),  # small steps do not chain
        ([2.0, 1.64, 1.62], 0.5, [0, 0, 1]),
        ([2.0, 2.0, 1.99], 0.0, [0, 0, 1]),
    ],
)
def test_ties_are_measured_against_the_first_of_the_group(
    log_losses: list[float], sd: float, expected: list[int]
) -> None:
    """The normal's .7 point .5244 is from published tables of the normal distribution."""
    n = len(log_losses)
    made = tie_groups(np.zeros(n, dtype=np.int64), np.exp(log_losses), np.full(n, sd), np.zeros(n))
    assert made.tolist() == expected


def test_unknown_losses_tie_only_with_each_other_and_blocks_never() -> None:
    loss = np.array([5.0, 5.0, np.nan, np.nan])
    made = tie_groups(np.array([0, 1, 1, 1]), loss, np.ones(4), np.zeros(4))
    assert made.tolist() == [0, 1, 2, 2]


def test_possible_places_by_hand() -> None:
    lower, upper = np.array([8.0, 4.0, 3.0, 0.0]), np.array([9.0, 6.0, 5.0, 1.0])
    highest, lowest = rank_range(lower, upper)
    assert highest.tolist() == [1, 2, 2, 4]
    assert lowest.tolist() == [1, 3, 3, 4]


def test_costs_of_the_three_ways_by_hand() -> None:
    """p = .1 by the horizon, .08 now, 300 units, a crack fails with .3; test .3, renewal 3, access share 1."""
    stakes = Stakes(np.array([0.1]), np.array([0.08]), np.array([300.0]), np.array([1.0]))
    made = weigh(stakes, [Rates(0.3, 0.01), Rates(0.9, 0.03)], Costs(replace=3.0))
    assert made.leave[0] == pytest.approx(9.0)
    assert made.replace[0] == pytest.approx(4.0)
    seen, missed = 0.9 * 0.08 + 0.03 * 0.92, 0.1 - 0.9 * 0.08
    assert made.test[0] == pytest.approx(1.3 + 3 * seen + 90 * missed)
    assert made.method[0] == 1
    assert made.found[0] == 0.9


def one(frames: Frames, **facts: object) -> pd.Series:
    """Rank one chainplate with the given facts of life and chance."""
    life = frames.lives[frames.lives["fitting_type"] == "chainplate"].iloc[[0]].copy()
    chance = frames.chances[frames.chances["life_id"] == life["life_id"].iloc[0]].copy()
    for name, value in facts.items():
        (chance if name in chance.columns else life)[name] = value
    return ranked(replace(frames, lives=life, chances=chance)).iloc[0]


@pytest.mark.parametrize(
    ("now", "later", "until"),
    [
        (0.01, 0.03, date(2027, 11, 1)),  # under the limit of 5 % throughout: two years after the look
        (0.20, 0.30, date(2026, 10, 31)),  # passed already: the as-of date
        # hazards .010050 and .105361 a year apart, limit .051293: after .43273 of a year, 158 days
        (0.01, 0.10, date(2027, 4, 7)),
    ],
)
def test_a_clear_look_counts_until_the_limit_or_two_years(
    frames: Frames, now: float, later: float, until: date
) -> None:
    made = one(
        frames,
        installed_on=pd.Timestamp("2015-11-01"),
        ranking_clear_years=10.0,  # 3652 days after: 2025-10-31
        open_indication_on=pd.NaT,
        indication_count=0,
        chance=later,
        chance_now=now,
    )
    days = abs((pd.Timestamp(made["clear_until"]).date() - until).days)
    assert days <= 1


def test_chances_in_words() -> None:
    assert [percent(p) for p in (0.0, 0.004, 0.074, 0.5, 0.994, 1.0)] == [
        "<1 %",
        "<1 %",
        "7 %",
        "50 %",
        ">99 %",
        ">99 %",
    ]


def test_a_part_just_put_in_is_said_to_be_new(frames: Frames) -> None:
    """Its place has records: only the part that followed has none."""
    unseen = {"ranking_clear_years": np.nan, "open_indication_on": pd.NaT, "indication_count": 0, "look_count": 0}
    unseen |= {"voided_by": None, "age_basis": "stated", "installed_on": pd.Timestamp("2026-10-05")}
    assert "since it was put in on 2026-10-05." in one(frames, **unseen, part_number=2)["reason"]
    assert "no record names it" in one(frames, **unseen, part_number=1)["reason"]


def test_loss_avoided_lies_within_its_bounds(priority: pd.DataFrame) -> None:
    known = priority[priority["loss_avoided"].notna() & priority["chance"].notna() & (priority["action"] != "leave")]
    assert len(known)
    assert (known["loss_avoided_lower"] <= known["loss_avoided"] * (1 + 1e-9)).all()
    assert (known["loss_avoided_upper"] >= known["loss_avoided"] * (1 - 1e-9)).all()
    assert (known["loss_avoided_lower"] < known["loss_avoided_upper"]).any()


def test_the_bounds_of_a_test_move_what_is_there_already_as_far_in_its_logit(frames: Frames) -> None:
    """By hand: chance 1/2 between 1/3 and 2/3 halves and doubles the odds; 2/5 there now becomes 1/4 and 4/7."""
    facts = {"chance": 1 / 2, "chance_lower": 1 / 3, "chance_upper": 2 / 3, "chance_now": 2 / 5}
    clear = {"open_indication_on": pd.NaT, "indication_count": 0, "ranking_clear_years": 10.0}
    dear = replace(Settings(), costs=replace(Settings().costs, replace=50.0, access={}))
    life = frames.lives[frames.lives["fitting_type"] == "chainplate"].iloc[[0]].assign(**clear)
    chance = frames.chances[frames.chances["life_id"] == life["life_id"].iloc[0]].assign(**facts)
    made = ranked(replace(frames, lives=life, chances=chance), settings=dear).iloc[0]
    assert made["action"] == "test"
    bounds = made[["loss_avoided_lower", "loss_avoided_upper"]] / made["loss_avoided"]
    assert list(bounds) == pytest.approx([5 / 8, 10 / 7])


@pytest.mark.parametrize(
    ("margin", "told"),
    [(0.0, "about as much"), (0.04, "about as much"), (0.3, "0.3 units more"), (23.4, "23 units more")],
)
def test_two_ways_that_cost_the_same_are_said_to(margin, told):
    row = SimpleNamespace(margin=margin, runner_up="test", runner_up_method="visual, in_place")
    assert _next(row) == f"; a test by visual where it sits would cost {told}"
