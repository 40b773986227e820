"""Guidance: ages against closed forms and quadrature, caps at the end of the evidence, words for what is assumed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from bobstay.guidance import guide
from bobstay.guidance.ages import Draws, ends, half_seasons
from bobstay.guidance.intervals import cheapest
from bobstay.guidance.rules import Case, cheapest_ages, replace_by, retest, test_from
from bobstay.guidance.shown import SHARES, needed_in_words, still_needed
from bobstay.inspection_interval import delay_time
from bobstay.replacement import age_replacement
from bobstay.settings import Settings
from decision_frames import Frames, fleet

test_from.__test__ = False  # type: ignore[attr-defined]  # a rule by that name, not a test
AGES = ("test_from_years", "retest_years", "replace_by_years")


def one_draw(scale: float, shape: float, boat_sd: float = 0.0) -> Draws:
    return Draws(np.log([scale, scale]), np.log([shape, shape]), np.array([boat_sd, boat_sd]))


def spread(count: int = 4000, boat_sd: float = 0.2) -> Draws:
    rng = np.random.default_rng(11)
    return Draws(
        np.log(20.0) + 0.15 * rng.normal(size=count),
        np.log(2.5) + 0.1 * rng.normal(size=count),
        np.full(count, boat_sd),
    )


def case(draws: Draws, **facts: float) -> Case:
    return Case(draws, **({"consequence": 4, "growth_years": 4.0, "access_cost": 15.0, "found": 0.7} | facts))  # type: ignore[arg-type]


def test_age_without_a_boat_effect_is_the_weibull_quantile() -> None:
    """Closed form: t = scale (-ln(1 - p))^(1/shape)."""
    made = one_draw(20.0, 2.5).age_at(0.1)
    assert made == pytest.approx(20 * (-np.log(0.9)) ** (1 / 2.5), rel=1e-10)


@pytest.mark.parametrize("boat_sd", [0.1, 0.3])
def test_age_averages_over_boats(boat_sd: float) -> None:
    """The chance at the age, by quadrature (scipy.integrate.quad) over the normal spread of ln scale, is the limit."""
    age = float(one_draw(20.0, 2.5, boat_sd).age_at(0.1)[0])

    def density(z: float) -> float:
        return float(norm.pdf(z) * -np.expm1(-((age / (20 * np.exp(boat_sd * z))) ** 2.5)))

    assert quad(density, -8, 8)[0] == pytest.approx(0.1, rel=1e-5)


def test_test_from_is_where_the_upper_bound_of_the_chance_meets_the_limit() -> None:
    """The same age read the other way round: the .95 quantile over draws of the chance at it is the limit of 5 %."""
    draws = spread()
    made = test_from(case(draws), Settings())
    chance = 1 - draws.survival(np.full(4000, made.years))
    assert np.quantile(chance[1:], 0.95) == pytest.approx(0.05, rel=0.01)
    assert made.lower == made.years < made.upper


def test_retest_is_never_longer_than_half_the_assumed_growth() -> None:
    loose = replace(Settings(), guidance=replace(Settings().guidance, test_limit=dict.fromkeys(range(1, 6), 0.9)))
    made = retest(case(spread(), growth_years=3.0), 6.0, loose)
    assert (made.years, made.upper, made.rule) == (1.5, 1.5, "half the assumed growth time")


def test_retest_by_the_limit_is_a_conditional_chance() -> None:
    """Closed form without boat effect: H(t + d) = H(t) - ln(1 - limit)."""
    made = retest(case(one_draw(10.0, 3.0)), 6.0, Settings())
    by_hand = 10 * (0.6**3 - np.log(0.95)) ** (1 / 3) - 6
    assert made.years == pytest.approx(max(by_hand, 0.5), rel=1e-9)
    assert made.rule == "limit of 5 %"


@pytest.mark.parametrize(("age", "within"), [(8.0, 1e-9), (50.0, 1e-9), (100.0, 0.004), (400.0, 0.004)])
def test_a_draw_by_which_no_part_is_clear_any_more_has_hardly_a_wait(age: float, within: float) -> None:
    """Closed form without a boat effect; a survival that no number holds is a wait of 0; met by fuzzing."""
    scale, shape = 10.0, 3.0
    wait = one_draw(scale, shape).wait_after(age, 0.1)[0]
    truth = scale * ((age / scale) ** shape - np.log(0.9)) ** (1 / shape) - age
    assert truth - within <= wait <= truth + 1e-9


def test_cheapest_age_is_age_replacement_and_infinite_where_it_never_pays() -> None:
    """Planned 3 + 15; failure 18 + (1 - .7) x .3 x 300 = 45."""
    draws = spread(300)
    stated = replace(Settings(), costs=replace(Settings().costs, replace=3.0))
    made = cheapest_ages(case(draws), stated)
    for i in (0, 7, 123):
        shape, scale = np.exp(draws.log_shape[i]), np.exp(draws.log_scale[i])
        assert made[i] == pytest.approx(age_replacement(shape, scale, 18.0, 45.0)[0], rel=0.01)
    assert np.isinf(cheapest_ages(case(one_draw(20.0, 0.9)), Settings())).all()


def test_renewal_takes_the_earlier_of_limit_and_cost() -> None:
    by_limit = replace_by(case(spread(), found=0.99), Settings())
    by_cost = replace_by(case(spread(), found=0.3, access_cost=0.0), Settings())
    assert by_limit.rule == "limit of 30 %"
    assert by_cost.rule == "cost of renewal against failure"
    assert by_cost.years < by_limit.years
    for made in (by_limit, by_cost):
        assert made.lower <= made.years <= made.upper


def test_ends_and_half_years() -> None:
    assert ends(np.arange(-1.0, 101.0), 0.9) == (5.0, 95.0)  # the first of them is the estimate, not a draw
    assert [half_seasons(x) for x in (6.49, 6.5, 6.99, 7.0, np.inf)] == [6.0, 6.5, 6.5, 7.0, np.inf]


@pytest.fixture(scope="module")
def frames() -> Frames:
    return fleet(2, boat_count=8)


def guided(frames: Frames, settings: Settings | None = None) -> pd.DataFrame:
    made = guide(frames.classes, frames.class_draws, frames.lives, settings=settings or Settings())
    return made.set_index("fitting_type")


def test_every_class_has_one_row_with_half_years_in_order(frames: Frames) -> None:
    made = guided(frames)
    assert sorted(made.index) == sorted(frames.classes["fitting_type"])
    for name in AGES:
        numbers = made[[f"{name}_lower", name, f"{name}_upper"]].to_numpy()
        assert np.all(np.diff(numbers, axis=1) >= 0)
        assert np.all(numbers * 2 == np.floor(numbers * 2))


def test_no_age_of_a_curve_lies_beyond_its_records_and_the_words_say_so(frames: Frames) -> None:
    classes = frames.classes.assign(oldest_years=5.3)
    made = guided(replace(frames, classes=classes))
    assert (made[["test_from_years", "replace_by_years"]] <= 5.3).all(axis=None)
    assert made["beyond_evidence"].all()
    assert made["assumption"].str.contains("The records reach 5.3 years").all()
    assert made["binding_rule"].str.contains("end of the evidence").all()


def test_within_the_records_nothing_is_capped(frames: Frames) -> None:
    made = guided(replace(frames, classes=frames.classes.assign(oldest_years=99.0)))
    assert not made["beyond_evidence"].any()
    assert not made["binding_rule"].str.contains("end of the evidence").any()


def test_a_borrowed_curve_is_called_so_with_the_bound_its_own_looks_show(frames: Frames) -> None:
    """None of 10 found: up to 26 % (exact binomial, one-sided 95 %: .258866, Clopper and Pearson 1934)."""
    classes = frames.classes.copy()
    classes.loc[classes["fitting_type"] == "mast tang", "evidence"] = "none"
    lives = frames.lives.copy()
    tangs = lives.index[lives["fitting_type"] == "mast tang"]
    lives.loc[tangs, ["valid_look_count", "upper_years"]] = [0, np.inf]
    lives.loc[tangs[:10], "valid_look_count"] = 1
    words = guided(replace(frames, classes=classes, lives=lives)).loc["mast tang", "assumption"]
    assert "0 of 10 looked at showed an indication: up to 26 % may have one." in words
    assert "borrowed from like classes" in words


def test_a_class_without_a_curve_takes_the_earliest_of_its_kind_as_interim(frames: Frames) -> None:
    extra = frames.classes[frames.classes["fitting_type"] == "chainplate"].assign(
        material="titanium", shape=np.nan, scale_years=np.nan, evidence="none", oldest_years=np.nan
    )
    made = guide(pd.concat([frames.classes, extra]), frames.class_draws, frames.lives, settings=Settings()).set_index(
        ["fitting_type", "material"]
    )
    new, known = made.loc[("chainplate", "titanium")], made.loc[("chainplate", "stainless 316")]
    assert new["test_from_years"] == known["test_from_years"]
    assert new["beyond_evidence"]
    assert "those of chainplate, stainless 316 and are interim" in new["assumption"]
    assert "None of this class has been looked at" in new["assumption"]


def test_where_nothing_is_known_the_first_test_is_the_interim_default_and_no_renewal_is_set(frames: Frames) -> None:
    classes = frames.classes.assign(shape=np.nan, scale_years=np.nan, evidence="none")
    made = guide(classes, frames.class_draws.iloc[:0], frames.lives, settings=Settings())
    assert made["replace_by_years"].isna().all()
    assert (made["test_from_years"] == Settings().guidance.interim_test_years).all()
    assert made["binding_rule"].str.startswith("test from: interim default of the settings").all()
    assert (made["retest_years"] == 2.0).all()  # half the growth assumed, which needs no records
    assert made["assumption"].str.contains("No age can be set from these records").all()


def test_the_usual_consequence_is_the_class_s_and_the_graver_of_two_equally_usual(frames: Frames) -> None:
    lives = frames.lives.copy()
    pintles = lives.index[lives["fitting_type"] == "pintle"]
    lives.loc[pintles, "consequence"] = [2, 5] * (len(pintles) // 2)
    assert guided(replace(frames, lives=lives)).loc["pintle", "consequence"] == 5


def test_nothing_is_called_safe(frames: Frames) -> None:
    made = guided(frames)
    assert not made["assumption"].str.contains("safe", case=False).any()


def test_the_time_between_tests_is_the_cheapest_where_that_is_shortest() -> None:
    """Against delay_time itself: no other half year within half the growth costs less; a step beyond is no answer."""
    settings = Settings()
    dear = case(spread(), growth_years=8.0)
    least = cheapest(dear, 6.0, settings)
    costs = {i / 2: delay_time(i / 2, least.case, first_test=6.0).cost_per_year for i in range(1, 10)}
    assert costs[least.years] == min(costs.values())
    assert retest(dear, 6.0, settings, cheapest=0.5).rule == "least cost at the assumed growth"
    slight = case(spread(), consequence=1, growth_years=8.0, access_cost=0.0)
    assert np.isnan(cheapest(slight, 6.0, settings).years)  # never testing costs less: no search bound is an answer


def test_tests_still_needed_are_the_published_counts() -> None:
    """29, 59 and 299 (exact binomial, Clopper and Pearson 1934; criterion of ECSS-E-ST-32-01C), less those made.

    By a test that shows 7 cracks in 10: ln .05 / ln .93 = 41.3, / ln .965 = 84.1, / ln .993 = 426.5, by hand.
    """
    assert [still_needed(share, 0) for share in SHARES] == [29, 59, 299]
    assert [still_needed(share, 40) for share in SHARES] == [0, 19, 259]
    words = needed_in_words(0, 8, shows=0.7)
    assert "29, 59, 299 lives with a clear look (21, 51, 291 more; 42, 85, 427 by a test" in words
    assert needed_in_words(1, 8, shows=0.7) == ""
