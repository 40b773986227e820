"""Checks beside the estimate, from small frames: what is planted must be told, what is not must not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from bobstay.checks import (
    clock_table,
    families_table,
    fits_table,
    on_scheduled_looks,
    scheduled_table,
    shortcuts_table,
    with_warning,
)
from bobstay.settings import Settings

SETTINGS = replace(Settings(), estimate=replace(Settings().estimate, draws=300))
DAY = pd.Timestamp("2026-01-01")


def fleet(seed, *, boats=60, parts=8, shape=3.0, scale=14.0, onset=None, late=0.0, hours=None, water=None):
    """Lives of one class looked at every two years till 24, with their looks and boats; `onset(rng, boat)` if given.

    A share `late` joined at age 6 to 12 with their cracks taken out before; tests never err.
    """
    rng = np.random.default_rng(seed)
    boat = np.repeat(np.arange(boats), parts)
    ages = onset(rng, boat) if onset else scale * rng.exponential(size=len(boat)) ** (1 / shape)
    entry = np.where(rng.random(len(boat)) < late, rng.integers(3, 7, len(boat)) * 2.0, 0.0)
    kept = ages > entry
    boat, ages, entry = boat[kept], ages[kept], entry[kept]
    last = entry + rng.integers(2, 7, len(boat)) * 2.0
    lower = np.minimum(np.floor(ages / 2) * 2, last)
    upper = np.where(lower < last, lower + 2, np.inf)
    ids = [f"L{i:04d}" for i in range(len(boat))]
    lives = pd.DataFrame(
        {
            "life_id": ids, "boat_id": [f"B{b:02d}" for b in boat], "fitting_type": "tang", "material": "steel",
            "entry_years": entry, "lower_years": lower, "upper_years": upper, "left_out": None,
            "age_basis": "stated", "removal_reason": None, "is_in_service": True,
            "installed_on": DAY - pd.to_timedelta(np.round(last * 365.25), unit="D"), "ended_on": DAY,
        }
    )  # fmt: skip
    names = sorted(set(lives["boat_id"]))
    given = pd.DataFrame({"boat_id": names, "hours_per_year": pd.array([np.nan] * len(names), dtype="Float64")})
    if hours is not None:
        given["hours_per_year"] = pd.array(hours[[int(n[1:]) for n in names]], dtype="Float64")
    given["water"] = "salt" if water is None else [water[int(n[1:])] for n in names]
    return lives, looks_of(lives), given


def looks_of(lives):
    """Clear looks at each even age from entry to lower, and a confirmed finding at upper."""
    rows = []
    for life in lives.itertuples():
        first = max(life.entry_years, 2.0)
        for age in np.arange(first, life.lower_years + 0.1, 2.0):
            rows.append((life.life_id, age, "clear", "none", "scheduled"))
        if np.isfinite(life.upper_years):
            rows.append((life.life_id, life.upper_years, "indication", "confirmed", "scheduled"))
    return pd.DataFrame(rows, columns=["life_id", "look_years", "shows", "verdict", "trigger"])


def classes_of(lives, b10=(9.0, 8.0, 10.0)):
    events = int(np.isfinite(lives["upper_years"]).sum())
    return pd.DataFrame(
        [{"fitting_type": "tang", "material": "steel", "life_count": len(lives), "event_count": events,
          "oldest_years": 24.0, "b10_years": b10[0], "b10_years_lower": b10[1], "b10_years_upper": b10[2],
          "model": "made up"}]
    )  # fmt: skip


NO_DRAWS = pd.DataFrame(columns=["fitting_type", "material", "draw", "log_scale", "log_shape", "boat_sd"])
NO_BOATS_LOOKED_OVER = pd.DataFrame({"boat_id": pd.Series(dtype=str), "look_on": pd.Series(dtype="datetime64[ns]")})


def shortcuts(lives, looks, *, draws=NO_DRAWS, whole_boat=NO_BOATS_LOOKED_OVER):
    made = shortcuts_table(lives, looks, classes_of(lives), draws, whole_boat=whole_boat, settings=SETTINGS)
    return made[made["fitting_type"] == "tang"].set_index("shortcut")["b10_years"], made


TRUTH = 14 * (-np.log(0.9)) ** (1 / 3)  # the age of one in ten of `fleet`


def test_shortcuts_go_wrong_in_the_known_directions():
    """Simulated with known truth, tests that never err and half of the parts joined late, most not yet cracked: only
    found ones too low, the day of the finding and ignored late joining too high, right intervals within 10 %."""
    lives, looks, _ = fleet(1, boats=150, scale=25.0, late=0.5)
    age, _ = shortcuts(lives, looks)
    truth = TRUTH * 25 / 14
    assert age["only found ones"] < 0.8 * truth
    assert age["finding date = event date"] > 1.1 * truth
    assert age["intervals, late joining ignored"] > 1.05 * truth
    assert age["intervals and late joining, tests taken as right"] == pytest.approx(truth, rel=0.1)


def test_false_calls_kept_bring_the_age_down():
    """Theory: an unfounded indication taken for a crack can only end lives earlier."""
    lives, looks, _ = fleet(2, boats=100)
    rng = np.random.default_rng(2)
    called = (looks["shows"] == "clear") & (rng.random(len(looks)) < 0.06)
    looks = looks.assign(
        shows=looks["shows"].mask(called, "indication"), verdict=looks["verdict"].mask(called, "unfounded")
    )
    age, _ = shortcuts(lives, looks)
    assert age["false calls kept"] < 0.75 * age["intervals and late joining, tests taken as right"]


def test_whole_boat_looks_taken_as_clear_bring_the_age_up():
    """Theory: clear looks that nobody made push the beginning of every interval later."""
    lives, looks, boats = fleet(3, boats=100)
    days = DAY - pd.to_timedelta(np.arange(1, 25) * 365, unit="D")
    every = pd.DataFrame([(b, d) for b in boats["boat_id"] for d in days], columns=["boat_id", "look_on"])
    age, _ = shortcuts(lives, looks, whole_boat=every)
    assert age["whole-boat looks taken as clear"] > 1.02 * age["intervals and late joining, tests taken as right"]


def test_ours_of_all_together_mixes_the_classes():
    """Arithmetic: two like classes without boat effect mix to their own age of one in ten; draws give its interval."""
    lives, looks, _ = fleet(4)
    draws = pd.DataFrame({"fitting_type": "tang", "material": "steel", "draw": range(3), "boat_sd": 0.0,
                          "log_scale": np.log([14.0, 12.0, 16.0]), "log_shape": np.log(3.0)})  # fmt: skip
    _, made = shortcuts(lives, looks, draws=draws)
    pooled = made[(made["fitting_type"] == "all fittings") & (made["step"] == 0)].iloc[0]
    assert pooled["b10_years"] == pytest.approx(TRUTH, rel=1e-6)
    assert pooled["b10_years_lower"] < TRUTH < pooled["b10_years_upper"]
    alone = made[(made["fitting_type"] == "tang") & (made["step"] == 6)].iloc[0]
    assert alone["ratio_to_ours"] == pytest.approx(alone["b10_years"] / 9.0)


def test_scheduled_looks_by_hand():
    """Drawn: what only a look after a suspicion found is not known on schedule; a removal no look tells of stays."""
    looks = pd.DataFrame(
        [("a", 2.0, "clear", "none", "scheduled"), ("a", 3.0, "indication", "confirmed", "suspicion"),
         ("b", 4.0, "clear", "none", None), ("b", 6.0, "indication", "open", "scheduled"),
         ("c", 5.0, "clear", "none", "incident"), ("c", 7.0, "clear", "none", "scheduled"),
         ("d", 3.0, "clear", "none", "scheduled")],
        columns=["life_id", "look_years", "shows", "verdict", "trigger"],
    )  # fmt: skip
    lives = pd.DataFrame(
        {"life_id": list("abcd"), "boat_id": "B", "fitting_type": "tang", "material": "steel",
         "entry_years": [0.0, 0.0, 5.0, 0.0], "lower_years": [2.0, 4.0, 7.0, 3.0],
         "upper_years": [3.0, 6.0, np.inf, 8.0], "left_out": None, "age_basis": "stated",
         "removal_reason": ["indication", "indication", None, "indication"], "is_in_service": True}
    )  # fmt: skip
    made, kept = on_scheduled_looks(lives, looks)
    assert made["upper_years"].tolist() == [np.inf, 6.0, np.inf, 8.0]
    assert made["lower_years"].tolist() == [2.0, 4.0, 7.0, 3.0]
    assert made["entry_years"].tolist() == [0.0, 0.0, 7.0, 0.0]
    assert made["removal_reason"].isna().tolist() == [True, False, True, False]
    assert len(kept) == 5
    assert not made["is_in_service"].any()
    assert lives["upper_years"].tolist() == [3.0, 6.0, np.inf, 8.0]


@pytest.mark.parametrize(
    ("b10", "differs", "earlier"),
    [((7.0, 6.0, 8.0), True, "scheduled looks"), ((8.9, 8.0, 10.0), False, "scheduled looks"),
     ((9.95, 8.0, 12.0), True, "all looks"), ((np.nan, np.nan, np.nan), False, "neither")],
)  # fmt: skip
def test_both_ages_are_shown_and_the_earlier_is_named(b10, differs, earlier):
    """Arithmetic on made-up ages beside 9 (8..10); guidance speaks up only where scheduled looks warn earlier."""
    lives, looks, _ = fleet(5, boats=5)
    made = scheduled_table(classes_of(lives), classes_of(lives, b10), lives, looks)
    row = made.iloc[0]
    assert (bool(row["differs"]), row["earlier"]) == (differs, earlier)
    guidance = pd.DataFrame({"fitting_type": ["tang"], "material": ["steel"], "assumption": ["as before"]})
    warned = with_warning(guidance, made)["assumption"].iloc[0]
    assert warned.startswith("as before")
    assert ("scheduled looks alone" in warned) == (differs and earlier == "scheduled looks")


def of_family(lives, family):
    made = families_table(lives, settings=SETTINGS)
    return made[(made["fitting_type"] == "tang") & (made["family"] == family)].iloc[0]


def test_a_family_that_is_not_the_weibull_is_called_so():
    """Simulated: log-logistic onsets with long tails, 120 boats, intervals of two years."""
    lives, _, _ = fleet(6, boats=120, parts=10, onset=lambda rng, boat: 7 * np.exp(0.25 * rng.logistic(size=len(boat))))
    row = of_family(lives, "loglogistic")
    assert bool(row["is_clearly_better"])
    assert row["held_out_gain_lower"] > 0
    assert row["b10_years_lower"] < 7 * np.exp(0.25 * np.log(1 / 9)) < row["b10_years_upper"]


def test_the_weibull_stays_where_it_is_true_and_the_exponential_is_worse():
    """Simulated: Weibull onsets of shape 3."""
    lives, _, _ = fleet(7)
    assert not any(of_family(lives, f)["is_clearly_better"] for f in ("lognormal", "loglogistic", "exponential"))
    assert of_family(lives, "exponential")["held_out_gain_upper"] < 0


def of_check(lives, boats, check):
    made = fits_table(lives, boats, classes_of(lives), settings=SETTINGS)
    return made.set_index("check").loc[check]


def mixed(rng, boat):
    """Half of the parts crack early and alike, half late and alike."""
    early = rng.random(len(boat)) < 0.4
    return np.where(early, 4.0, 18.0) * rng.exponential(size=len(boat)) ** (1 / 5)


def test_a_mixed_population_bends_the_plot_and_leaves_the_bands():
    """Simulated: two populations, median ages about 4 and 17: the plot flattens, slope ratio below 1."""
    lives, _, boats = fleet(8, onset=mixed)
    bend, curve = of_check(lives, boats, "bend"), of_check(lives, boats, "curve")
    assert bend["is_flagged"]
    assert bend["value_upper"] < 1
    assert curve["is_flagged"]


def test_one_population_is_not_flagged():
    """Simulated: one Weibull; the gap keeps within the evidence and its own interval."""
    lives, _, boats = fleet(9)
    made = fits_table(lives, boats, classes_of(lives), settings=SETTINGS).set_index("check")
    assert not made["is_flagged"].any()
    assert made.loc["curve", "at_years"] <= 24.0
    assert abs(made.loc["curve", "value"]) < 0.15
    assert made.loc["water", "note"] == "no lives in one of the two waters"


def test_parts_that_last_longer_in_fresh_water_are_told_apart():
    """Simulated: fresh water makes lives twice as long on a third of the boats; the ratio's interval holds 2."""
    water = {b: "fresh" if b % 3 == 0 else "salt" for b in range(60)}
    lives, _, boats = fleet(
        10, water=water,
        onset=lambda rng, b: np.where(b % 3 == 0, 20.0, 10.0) * rng.exponential(size=len(b)) ** (1 / 3),
    )  # fmt: skip
    row = of_check(lives, boats, "water")
    assert row["is_flagged"]
    assert row["value_lower"] < 2 < row["value_upper"]
    assert row["value_lower"] > 1


@pytest.mark.parametrize(("by_hours", "better"), [(True, "hours"), (False, "calendar")])
def test_the_clock_that_ages_the_parts_is_found(by_hours, better):
    """Simulated: boats of 100 to 1600 hours a year; parts age by hours, or by years, and that clock scores better."""
    hours = np.exp(np.random.default_rng(11).uniform(np.log(100), np.log(1600), 60))
    times = 400 / hours if by_hours else np.ones(60)
    lives, _, boats = fleet(
        11, hours=hours, onset=lambda rng, b: 14 * times[b] * rng.exponential(size=len(b)) ** (1 / 3)
    )
    made = clock_table(lives, boats, settings=SETTINGS)
    assert made["better"].tolist() == [better, better]
    assert (made["hours_gain_lower"] <= made["hours_gain"]).all()


def test_no_hours_no_clock():
    """A fleet that states no hours is told so in words."""
    lives, _, boats = fleet(12, boats=6)
    made = clock_table(lives, boats, settings=SETTINGS)
    assert made["note"].tolist() == ["no life on a boat whose hours a year are stated"]
    assert made["better"].tolist() == ["cannot tell"]


def no_events(lives):
    return lives.assign(upper_years=np.inf)


def all_left_censored(lives):
    return lives.assign(entry_years=0.0, lower_years=0.0, upper_years=8.0)


DEGENERATE = {
    "none": lambda lives: lives.iloc[:0],
    "one life": lambda lives: lives.iloc[:1],
    "no indication": no_events,
    "every indication before one age": all_left_censored,
    "one boat": lambda lives: lives[lives["boat_id"] == "B00"],
    "left out": lambda lives: lives.assign(left_out="age_unknown"),
}


@pytest.mark.parametrize("name", DEGENERATE)
def test_degenerate_fleets_get_words_and_no_numbers_that_are_none(name):
    """Every table is made; what number there is is finite, and where there is none a note says why."""
    lives, _, boats = fleet(13, boats=8)
    lives = DEGENERATE[name](lives).reset_index(drop=True)
    looks = looks_of(lives)
    tables = [
        shortcuts(lives, looks)[1],
        families_table(lives, settings=SETTINGS),
        fits_table(lives, boats, classes_of(lives), settings=SETTINGS),
        clock_table(lives, boats, settings=SETTINGS),
    ]
    for table in tables:
        numbers = table.select_dtypes("number").to_numpy(dtype=float)
        assert not np.isinf(numbers).any()
        first = next(c for c in ("b10_years", "value", "hours_gain") if c in table)
        silent = table[table[first].astype(float).isna()]
        assert silent["note"].notna().all()


def test_the_same_seed_gives_the_same_tables():
    """Determinism, whatever the order of the rows."""
    lives, _, boats = fleet(14, boats=20)
    turned = lives.iloc[::-1].reset_index(drop=True)
    for make in (
        lambda v: families_table(v, settings=SETTINGS),
        lambda v: fits_table(v, boats, classes_of(v), settings=SETTINGS),
    ):
        pd.testing.assert_frame_equal(make(lives), make(lives), check_exact=True)
        pd.testing.assert_frame_equal(make(lives), make(turned), rtol=1e-5)
