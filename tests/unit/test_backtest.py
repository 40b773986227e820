"""The back-test on small drawn seasons: what counts, what each habit would say, and the verdict."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from bobstay import scores
from bobstay.backtest import Origin, Season, by_method, is_worth_scoring, origins, score, season_after, thirds, verdicts
from bobstay.backtest.habits import spreadsheet_hazard
from bobstay.backtest.season import CHANCED, RANKINGS

DAY = date(2020, 1, 1)


def lives(**columns):
    base = {
        "life_id": ["A/P/1", "B/P/1", "C/P/1"],
        "boat_id": ["A", "B", "C"],
        "fitting_id": "P",
        "fitting_type": "chainplate",
        "material": "steel",
        "age_years": [4.0, 8.0, 12.0],
        "lower_years": [3.0, 7.0, 0.0],
        "upper_years": np.inf,
        "is_in_service": True,
        "open_indication_on": pd.NaT,
        "last_valid_look": [pd.Timestamp("2019-01-01"), pd.Timestamp("2015-01-01"), pd.NaT],
    }
    return pd.DataFrame(base | columns)


def looks(rows):
    made = pd.DataFrame(rows, columns=["life_id", "look_on", "shows"])
    return made.assign(
        look_on=pd.to_datetime(made["look_on"]), method="visual", scope="removed", file="f", line=range(len(made))
    )


def origin(before=(), **columns):
    chances = pd.DataFrame(
        {"life_id": ["A/P/1", "B/P/1", "C/P/1"], "chance": [0.2, 0.4, 0.6], "chance_now": [0.1, 0.3, 0.5]}
    )
    rates = pd.DataFrame({"method": ["visual"], "scope": ["removed"], "found": [0.5], "false_call": [0.1]})
    return Origin(DAY, lives(**columns), looks(list(before)), chances, rates, chances.assign(chance=0.7))


def test_origins_go_back_a_year_at_a_time_and_leave_three_years_of_records():
    got = origins(date(2024, 2, 29), first_look=date(2019, 6, 1), count=5)
    assert got == [date(2023, 2, 28)]  # 2022-02-28 has less than three years before it


def test_a_season_of_few_findings_is_not_worth_an_estimate():
    four = looks([("A/P/1", f"2020-0{m}-01", "indication") for m in range(2, 6)])
    five = looks([("A/P/1", f"2020-0{m}-01", "indication") for m in range(2, 7)])
    assert not is_worth_scoring(DAY, four)
    assert is_worth_scoring(DAY, five)


def test_which_looks_of_the_season_count():
    """By hand: none on or before the origin, none after a year, none that tell nothing, none after a first finding."""
    rows = looks([
        ("A/P/1", "2020-01-01", "clear"), ("A/P/1", "2020-03-01", "indication"), ("A/P/1", "2020-04-01", "clear"),
        ("B/P/1", "2020-06-01", "nothing"), ("B/P/1", "2021-01-01", "clear"), ("C/P/1", "2021-01-02", "clear"),
    ])  # fmt: skip
    season = season_after(origin(), rows, every_years=4)
    assert list(season.boat) == ["A", "B"]
    assert list(season.seen) == [True, False]


def test_parts_with_an_open_indication_and_parts_out_of_service_do_not_count():
    rows = looks([(f"{b}/P/1", "2020-03-01", "clear") for b in "ABC"])
    opened = origin(open_indication_on=[pd.Timestamp("2019-12-01"), pd.NaT, pd.NaT])
    assert list(season_after(opened, rows, every_years=4).boat) == ["B", "C"]
    gone = origin(is_in_service=[True, False, True])
    assert list(season_after(gone, rows, every_years=4).boat) == ["A", "C"]


@pytest.mark.parametrize(("told", "stands_in"), [([0.7, np.nan, 0.5], 0.6), ([np.nan] * 3, 0.0)])
def test_where_the_plain_model_has_no_chance_the_middle_one_stands_in(told, stands_in):
    """And none where it has none at all, without a warning."""
    rows = looks([(f"{b}/P/1", "2020-07-01", "clear") for b in "ABC"])
    known = origin()
    plain = known.plain_chances.assign(chance=told, chance_now=told)
    season = season_after(replace(known, plain_chances=plain), rows, every_years=4)
    assert season.expected["plain_interval"][list(season.boat).index("B")] == pytest.approx(stands_in)


def test_what_each_way_of_ordering_says_by_hand():
    """Half of the year on, A's chance stands at .15: found .5 x .15 + false call .1 x .85 = .16."""
    rows = looks([(f"{b}/P/1", "2020-07-01", "clear") for b in "ABC"])
    before = [("A/P/1", "2019-01-01", "clear"), ("B/P/1", "2015-01-01", "indication"), ("A/P/1", "2018-01-01", "x")]
    season = season_after(origin(before), rows, every_years=4)
    part = 182 / 365.25
    assert season.expected["estimate"][0] == pytest.approx(0.5 * (0.1 + 0.1 * part) + 0.1 * (0.9 - 0.1 * part))
    assert season.expected["past_rate_for_all"] == pytest.approx(0.5)
    assert list(season.order["every_n_years"]) == [0.0, 1.0, 1.0]  # waited 1, 5, and its whole 12 years
    assert list(season.order["oldest_first"]) == [4.0, 8.0, 12.0]
    assert season.order["estimate"] == pytest.approx([0.2, 0.4, 0.6])


def test_the_spreadsheet_takes_days_of_findings_for_days_of_cracks():
    """Source: scipy.stats.weibull_min.fit on exact ages, location 0; a class without an event takes that of all."""
    from scipy.stats import weibull_min

    at = np.array([3.0, 5.0, 6.0, 8.0, 9.5, 12.0])
    frame = pd.DataFrame({
        "fitting_type": ["pin"] * 6 + ["plate"], "material": "steel",
        "upper_years": [*at, np.inf], "lower_years": [*(at / 2), 0.0],
    })  # fmt: skip
    shape, _, scale = weibull_min.fit(at, floc=0)
    words = np.array(["pin", "plate"], dtype=object), np.array(["steel", "steel"], dtype=object)
    got = spreadsheet_hazard(frame)(*words, np.array([7.0, 7.0]))
    assert got == pytest.approx((7.0 / scale) ** shape, rel=1e-3)


def season(seed, *, boats=40, places=20, day=DAY, sharp=1.0):
    """A season drawn from its own chances: the estimate knows them, the other orders know nothing."""
    rng = np.random.default_rng(seed)
    n = boats * places
    chance = 1 / (1 + np.exp(-rng.normal(-2.5, sharp, n)))
    blind = {ranking: rng.uniform(size=n) for ranking in RANKINGS}
    blind["past_rate_for_all"] = np.zeros(n)
    return Season(
        day=day,
        boat=np.repeat([f"B{i:02}" for i in range(boats)], places).astype(object),
        fitting=np.tile([f"P{i}" for i in range(places)], boats).astype(object),
        method=np.full(n, "visual", dtype=object),
        scope=np.full(n, "removed", dtype=object),
        seen=rng.uniform(size=n) < chance,
        order=blind | {"estimate": chance},
        expected=dict.fromkeys(CHANCED, chance) | {"past_rate_for_all": np.full(n, chance.mean())},
    )


def test_a_season_drawn_from_its_chances_is_judged_so():
    """Truth by construction: the first tenth beats blind orders, findings are as many as expected."""
    table = verdicts([season(1), season(2, day=date(2021, 1, 1))], cover=0.9, seed=1).set_index("ranking")
    ours, blind = table.loc["estimate"], table.loc["oldest_first"]
    assert blind["difference_lower"] > 0
    assert blind["verdict"].startswith("better than oldest first")
    assert ours["brier_skill"] > 0.02
    assert ours["found"] / ours["expected"] == pytest.approx(1, abs=0.2)


def test_the_verdict_can_be_no_better_and_worse():
    blind = season(3)
    same = dict.fromkeys(RANKINGS, blind.order["estimate"])
    equal = Season(**{f: getattr(blind, f) for f in Season.__slots__} | {"order": same})
    told = verdicts([equal], cover=0.9, seed=1).set_index("ranking")["verdict"]
    assert told["oldest_first"].startswith("no better than oldest first on your data")
    swapped = blind.order | {"estimate": blind.order["oldest_first"], "oldest_first": blind.order["estimate"]}
    worse = Season(**{f: getattr(blind, f) for f in Season.__slots__} | {"order": swapped})
    told = verdicts([worse], cover=0.9, seed=1).set_index("ranking")["verdict"]
    assert told["oldest_first"].startswith("worse than oldest first on your data")


def test_intervals_hold_the_truth_as_often_as_they_say():
    """Sixty seasons: the true difference between two orders that know nothing is 0, the true line of chances that the
    season was drawn from is (0, 1); nominal .9, and 2.6 binomial standard errors below that is .80."""
    held = []
    for seed in range(60):
        one = season(100 + seed, boats=30, places=10)
        told = Season(**{f: getattr(one, f) for f in Season.__slots__} | {
            "order": one.order | {"estimate": np.random.default_rng(seed).uniform(size=300)}})  # fmt: skip
        table = verdicts([told], cover=0.9, seed=seed).set_index("ranking")
        row, ours = table.loc["oldest_first"], table.loc["estimate"]
        held.append([
            row["difference_lower"] <= 0 <= row["difference_upper"],
            ours["calibration_slope_lower"] <= 1 <= ours["calibration_slope_upper"],
            ours["calibration_intercept_lower"] <= 0 <= ours["calibration_intercept_upper"],
        ])  # fmt: skip
    assert np.mean(held, axis=0).min() >= 0.80


def test_nothing_to_score_gives_empty_tables():
    few = season(4)
    none = Season(**{f: getattr(few, f) for f in Season.__slots__} | {"order": {}, "expected": {}})
    assert (
        len(verdicts([none], cover=0.9, seed=1))
        == len(by_method([none], cover=0.9))
        == len(thirds([none], cover=0.9))
        == 0
    )
    assert score(none)["note"].str.contains("not scored").all()


def test_thirds_and_methods_count_every_look_once():
    one = season(5)
    by_third, methods = thirds([one], cover=0.9), by_method([one], cover=0.9)
    assert by_third["looks"].sum() == methods["looks"].sum() == len(one.seen)
    assert by_third["found"].sum() == methods["found"].sum() == one.seen.sum()
    share = by_third.set_index("third")["share"]
    assert share["top"] > share["bottom"]
    assert methods["ratio_lower"].iloc[0] < 1 < methods["ratio_upper"].iloc[0]


def test_weights_count_rows_so_many_times():
    """Identity: a row of weight 2 is the row twice, of weight 0 is no row."""
    rng = np.random.default_rng(6)
    chance = rng.uniform(0.05, 0.9, 60)
    seen = rng.uniform(size=60) < chance
    weight = rng.integers(0, 3, 60)
    twice = np.repeat(np.arange(60), weight)
    assert scores.calibration(chance, seen, weight=weight.astype(float)) == pytest.approx(
        scores.calibration(chance[twice], seen[twice])
    )


def test_poisson_limits_of_garwood():
    """Source: the exact 95 % limits for 0 and 10 counts, (0, 3.689) and (4.795, 18.390), in every table of them."""
    low, high = scores.poisson_limits(np.array([0.0, 10.0]), cover=0.95)
    assert low == pytest.approx([0, 4.795], abs=1e-3)
    assert high == pytest.approx([3.689, 18.390], abs=1e-3)
