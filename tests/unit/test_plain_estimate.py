"""The plain estimate: classes, refusals, borrowing, chances, draws, all from frames as the tables promise them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from pytest import approx

from bobstay import weibull
from bobstay.estimate import estimate
from bobstay.estimate.curves import evidence_word, nonparametric_table, oldest_years
from bobstay.settings import Estimate, Settings
from bobstay.tables import CHANCES, CLASS_DRAWS, CLASSES, DETECTION, LIFE_LOOKS, LIVES, NONPARAMETRIC

AS_OF = date(2026, 1, 1)
PLAIN = replace(Settings(), estimate=Estimate(detection="perfect", pooling="none", boat_effect=False, draws=500))


def lives_of(rows):
    """Return a lives frame of (fitting_type, material, entry, lower, upper), still in service at the last age known."""
    frame = pd.DataFrame(columns=list(LIVES.column_names), index=range(len(rows)), dtype=object)
    for i, (kind, material, entry, lower, upper) in enumerate(rows):
        frame.loc[i, "life_id"] = f"b{i:03}/f/1"
        frame.loc[i, ["boat_id", "fitting_id", "age_basis"]] = [f"b{i:03}", "f", "stated"]
        frame.loc[i, ["fitting_type", "material"]] = [kind, material]
        frame.loc[i, ["entry_years", "lower_years", "upper_years"]] = [entry, lower, upper]
        frame.loc[i, ["age_years", "is_in_service"]] = [lower + 0.5 if np.isinf(upper) else upper, True]
        frame.loc[i, "ranking_clear_years"] = lower if lower > 0 else None
        frame.loc[i, "open_indication_on"] = AS_OF if np.isfinite(upper) else None
    numbers = ["entry_years", "lower_years", "upper_years", "age_years", "ranking_clear_years"]
    frame[numbers] = frame[numbers].astype(float)
    return frame


def simulated(kind, material, size, seed, scale=15.0):
    rng = np.random.default_rng(seed)
    onset = scale * rng.weibull(2.0, size)
    lower = np.floor(onset / 2) * 2
    stop = rng.integers(1, 12, size) * 2.0
    is_found = lower + 2 <= stop
    return [
        (kind, material, 0.0, float(low if hit else min(low, end)), float(low + 2) if hit else np.inf)
        for low, end, hit in zip(lower, stop, is_found, strict=True)
    ]


def no_looks():
    return pd.DataFrame(columns=list(LIFE_LOOKS.column_names))


def made_of(lives, looks=None, settings=PLAIN):
    return estimate(lives, no_looks() if looks is None else looks, pd.DataFrame(), as_of=AS_OF, settings=settings)


@pytest.fixture(scope="module")
def fleet():
    rows = simulated("plate", "316", 80, 1) + simulated("plate", "bronze", 6, 2, scale=200.0)
    rows += [("bolt", "steel", 0.0, a, np.inf) for a in (3.0, 5.0, 8.0)]
    rows += [("pin", "316", 0.0, 2.0, 4.0), ("pin", "316", 0.0, 3.0, 6.0)]
    return lives_of(rows)


@pytest.fixture(scope="module")
def made(fleet):
    return made_of(fleet)


def class_row(made, kind, material):
    rows = made.classes
    return rows[(rows["fitting_type"] == kind) & (rows["material"] == material)].iloc[0]


def test_every_table_keeps_its_promise(made):
    for frame, table in (
        (made.classes, CLASSES), (made.detection, DETECTION), (made.nonparametric, NONPARAMETRIC),
        (made.chances, CHANCES), (made.class_draws, CLASS_DRAWS),
    ):  # fmt: skip
        assert list(frame.columns) == list(table.column_names)


def test_p01_through_the_stage(checks_cracks):
    """Nelson 1982, p. 415 (computed): shape 1.48537, scale 71.6904 months, with ages told in years."""
    lives = lives_of([("plate", "316", 0.0, low / 12, high / 12) for low, high in checks_cracks])
    row = class_row(made_of(lives), "plate", "316")
    assert (row["shape"], row["scale_years"] * 12) == (approx(1.48537, rel=1e-5), approx(71.6904, rel=1e-5))
    assert row["log_likelihood"] == approx(-309.66841, abs=1e-4)
    assert (row["life_count"], row["event_count"], row["evidence"]) == (167, 94, "enough")


@pytest.fixture
def checks_cracks():
    from pathlib import Path

    frame = pd.read_csv(Path(__file__).parents[1] / "data" / "checks" / "cracks167.csv")
    rows = zip(frame["left"], frame["right"].fillna(np.inf), frame["count"], strict=True)
    return [(low, high) for low, high, count in rows for _ in range(count)]


def test_a_class_has_the_plain_estimate_of_its_lives(made, fleet):
    own = fleet[(fleet["fitting_type"] == "plate") & (fleet["material"] == "316")]
    plain = weibull.estimate(own["entry_years"], own["lower_years"], own["upper_years"])
    row = class_row(made, "plate", "316")
    assert (row["shape"], row["scale_years"]) == (plain.shape, plain.scale)
    assert row["b10_years"] == approx(float(plain.quantile(0.1)))
    for name in ("shape", "scale_years", "b10_years"):
        assert row[f"{name}_lower"] < row[name] < row[f"{name}_upper"]


def test_without_an_event_there_is_a_bound_in_words(made):
    """Clopper and Pearson 1934: 0 of 3 leaves up to 1 - .05^(1/3) = 63 %."""
    row = class_row(made, "bolt", "steel")
    assert row["evidence"] == "none" and np.isnan(row["shape"]) and np.isnan(row["b10_years"])
    assert "0 of 3" in row["model"] and "63%" in row["model"]


def test_a_refusal_says_why(made):
    row = class_row(made, "pin", "316")
    assert row["evidence"] == "none" and row["event_count"] == 2
    assert "no finite maximum" in row["model"] and "infinity" in row["model"]


def test_lives_left_out_are_counted_and_not_used(fleet):
    lives = fleet.copy()
    lives.loc[:9, "left_out"] = "joined_late_first_look_indication"
    row = class_row(made_of(lives), "plate", "316")
    assert (row["left_out_count"], row["life_count"]) == (10, 70)


def test_borrowing_goes_to_the_type_then_to_all(made, fleet):
    basis = made.chances.merge(fleet[["life_id", "fitting_type", "material"]], on="life_id", validate="1:1")
    not_open = basis[basis["chance"] < 1]
    by_class = not_open.groupby(["fitting_type", "material"])["basis"].agg(set)
    assert by_class["plate", "316"] == {"own"}
    assert by_class["plate", "bronze"] == {"borrowed"}
    assert by_class["bolt", "steel"] == {"borrowed"}
    words = not_open.groupby(["fitting_type", "material"])["model"].first()
    assert "plate of all materials" in words["plate", "bronze"]
    assert "all fittings together" in words["bolt", "steel"]


def test_a_chance_is_that_of_the_curve_given_the_last_clear_look(made, fleet):
    """Theory: 1 - S(age + horizon) / S(last clear look)."""
    own = fleet[(fleet["fitting_type"] == "plate") & (fleet["material"] == "316") & np.isinf(fleet["upper_years"])]
    life = own[own["lower_years"] > 0].iloc[0]
    row, curve = made.chances.set_index("life_id").loc[life["life_id"]], class_row(made, "plate", "316")
    s = weibull.survival(
        [life["lower_years"], life["age_years"], life["age_years"] + 1],
        shape=curve["shape"],
        scale=curve["scale_years"],
    )
    assert (row["chance"], row["chance_now"]) == (approx(1 - s[2] / s[0]), approx(1 - s[1] / s[0]))
    assert row["chance_lower"] < row["chance"] < row["chance_upper"] and row["logit_sd"] > 0


def test_an_open_indication_is_certain_and_a_voided_clear_look_counts_for_nothing(fleet):
    made = made_of(fleet).chances.set_index("life_id")
    found = fleet[fleet["open_indication_on"].notna()]["life_id"]
    assert (made.loc[found, ["chance", "chance_lower", "chance_upper"]] == 1).all().all()
    voided = fleet.copy()
    voided["ranking_clear_years"] = np.nan
    after = made_of(voided).chances.set_index("life_id")
    assert (after["chance"] >= made["chance"] - 1e-12).all() and (after["chance"] > made["chance"]).any()


def test_a_longer_horizon_never_lowers_a_chance(made, fleet):
    longer = made_of(fleet, settings=replace(PLAIN, horizon_months=36)).chances
    assert (longer["chance"] >= made.chances["chance"]).all()
    assert (longer["chance_upper"] >= made.chances["chance_upper"]).all()


def test_no_evidence_at_all_gives_no_number():
    made = made_of(lives_of([("bolt", "steel", 0.0, 4.0, np.inf)]))
    assert made.chances["chance"].isna().all() and set(made.chances["basis"]) == {"none"}
    assert made.class_draws.empty


def test_empty_frames_give_empty_tables():
    made = made_of(lives_of([]))
    assert all(f.empty for f in (made.classes, made.detection, made.nonparametric, made.chances, made.class_draws))


def test_draws_start_with_the_estimate_and_other_classes_change_nothing(made, fleet):
    alone = made_of(fleet[(fleet["fitting_type"] == "plate") & (fleet["material"] == "316")])
    both = made.class_draws
    mine = both[(both["fitting_type"] == "plate") & (both["material"] == "316")].reset_index(drop=True)
    pd.testing.assert_frame_equal(mine, alone.class_draws)
    row = class_row(made, "plate", "316")
    assert np.exp(mine.loc[0, ["log_shape", "log_scale"]].astype(float)).tolist() == approx(
        [row["shape"], row["scale_years"]]
    )
    assert len(mine) == 501 and (mine["boat_sd"] == 0).all()


def test_twice_gives_the_same(made, fleet):
    again = made_of(fleet.sample(frac=1, random_state=3))
    for name in ("classes", "nonparametric", "chances", "class_draws"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(made, name))


def test_detection_counts_looks_and_says_that_it_is_assumed(fleet):
    looks = no_looks().reindex(range(5))
    looks["method"], looks["scope"] = "penetrant", "removed"
    looks["shows"] = ["clear", "clear", "indication", "indication", "nothing"]
    looks["verdict"] = ["none", "none", "confirmed", "open", "none"]
    row = made_of(fleet, looks).detection.iloc[0]
    assert (row["look_count"], row["indication_count"], row["followed_up_share"]) == (4, 2, 0.5)
    assert (row["found"], row["false_call"], row["basis"]) == (1, 0, "assumed perfect")
    assert (row["found_prior"], row["false_call_prior"], row["prior_weight"]) == (0.7, 0.05, 20)


def test_the_evidence_ends_where_too_few_are_at_risk():
    """Counting: at risk at t are those with entry < t <= end; six lives end at 1..6, the sixth entered at 5."""
    lives = lives_of([("a", "b", 0.0 if i < 6 else 5.0, float(i), np.inf) for i in range(1, 7)])
    assert oldest_years(lives, minimum_at_risk=2) == 4
    assert oldest_years(lives, minimum_at_risk=5) == 1
    assert np.isnan(oldest_years(lives, minimum_at_risk=6))
    assert np.isnan(oldest_years(lives.iloc[:0], minimum_at_risk=1))


def test_the_curve_of_the_data_alone_falls_and_has_limits(made):
    for _, curve in made.nonparametric.groupby(["fitting_type", "material"]):
        assert (curve["survival"].diff().dropna() <= 0).all()
        assert (curve["survival_lower"] <= curve["survival"] + 1e-12).all()
        assert (curve["survival"] <= curve["survival_upper"] + 1e-12).all()
        assert (curve["age_from_years"] <= curve["age_to_years"]).all()
    alone = nonparametric_table(lives_of([("a", "b", 0.0, 3.0, np.inf)] * 10), cover=0.9)
    assert alone.loc[0, "survival_lower"] == approx(1 - 0.258866, abs=1e-6)  # 0 of 10, 95 % one-sided
    assert alone.loc[0, "at_risk"] == 10


@pytest.mark.parametrize(
    ("events", "is_refused", "word"), [(0, False, "none"), (2, False, "thin"), (3, False, "enough"), (9, True, "none")]
)
def test_words_of_evidence(events, is_refused, word):
    assert evidence_word(events, minimum_events=3, is_refused=is_refused) == word
