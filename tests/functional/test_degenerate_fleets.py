"""Fleets that tell next to nothing: each gets a refusal or a bound in words, none a number that is no number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from bobstay.estimate import Estimates, estimate
from bobstay.settings import Estimate, Settings
from bobstay.tables import CHANCES, CLASS_DRAWS, CLASSES, DETECTION, NONPARAMETRIC, checked
from simulated_fleet import simulate
from simulated_frames import AS_OF, frames

Frames = tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]
TABLES = {
    "classes": CLASSES, "detection": DETECTION, "nonparametric": NONPARAMETRIC, "chances": CHANCES,
    "class_draws": CLASS_DRAWS,
}  # fmt: skip
WAYS = {
    "default": {},
    "no pooling": {"pooling": "none"},
    "plain": {"detection": "perfect", "pooling": "none", "boat_effect": False},
}


@cache
def whole() -> Frames:
    return frames(*simulate(31, 12, places=15, classes=4))


def of_lives(given: Frames, kept: pd.Series) -> Frames:
    lives, looks, boats = given
    part = lives[kept].reset_index(drop=True)
    return part, looks[looks["life_id"].isin(part["life_id"])].reset_index(drop=True), boats


def with_looks(given: Frames, kept: pd.Series) -> Frames:
    """Only some of the looks, and the lives that follow from them."""
    lives, looks, boats = given
    part = looks[kept].reset_index(drop=True)
    is_real = (part["shows"] == "indication") & (part["verdict"] != "unfounded")
    first = part[is_real].groupby("life_id")["look_years"].min()
    sound = part[~is_real]
    sound = sound[sound["look_years"] < sound["life_id"].map(first).fillna(np.inf)]
    clear = sound.groupby("life_id")["look_years"]
    lives = lives.assign(
        upper_years=lives["life_id"].map(first).fillna(np.inf),
        lower_years=lives["life_id"].map(clear.max()).fillna(0.0),
        ranking_clear_years=lives["life_id"].map(clear.max()),
        entry_years=np.where(lives["entry_years"] == 0.0, 0.0, lives["life_id"].map(clear.min())),
    )
    late = lives["entry_years"].isna()
    lives["left_out"] = pd.Series(np.where(late, "joined_late_no_clear_look", None), dtype=object)
    is_open = np.isfinite(lives["upper_years"]) & lives["is_in_service"]
    lives["open_indication_on"] = pd.Series(np.where(is_open, np.datetime64(AS_OF), np.datetime64("NaT", "D")))
    return lives, part, boats


def no_event(given: Frames) -> Frames:
    return with_looks(given, given[1]["shows"] == "clear")


def one_event(given: Frames) -> Frames:
    looks = given[1]
    found = looks[(looks["shows"] == "indication") & (looks["verdict"] == "confirmed")].index[0]
    return with_looks(given, (looks["shows"] == "clear") | (looks.index == found))


def all_left_censored(given: Frames) -> Frames:
    """Every life that was looked at showed an indication at its first look, and none was ever clear."""
    looks = given[1]
    return with_looks(given, (looks["shows"] == "indication") & (looks["verdict"] != "unfounded"))


def one_boat(given: Frames) -> Frames:
    return of_lives(given, given[0]["boat_id"] == given[0]["boat_id"].iloc[0])


def one_look_each(given: Frames) -> Frames:
    return with_looks(given, ~given[1].duplicated("life_id", keep="first"))


def ages_of_zero(given: Frames) -> Frames:
    """Every look on the day of installation, findings too."""
    lives, looks, boats = with_looks(given, pd.Series(True, index=given[1].index))
    zero = lives.assign(
        lower_years=0.0, entry_years=0.0, age_years=0.0, ranking_clear_years=0.0, last_clear_years=0.0,
        upper_years=np.where(np.isfinite(lives["upper_years"]), 0.0, np.inf),
    )  # fmt: skip
    zero["left_out"] = pd.Series(np.where(zero["upper_years"] == 0.0, "indication_at_age_zero", None), dtype=object)
    return zero, looks.assign(look_years=0.0), boats


def identical_rows(given: Frames) -> Frames:
    """One life clear at 5 and found at 6, over and over."""
    lives, _, boats = given
    same = lives.assign(
        lower_years=5.0, upper_years=6.0, entry_years=0.0, age_years=7.0, left_out=None, is_in_service=True,
        ranking_clear_years=5.0, last_clear_years=5.0,
        open_indication_on=pd.Series(np.datetime64(AS_OF), index=lives.index),
    )  # fmt: skip
    rows = [
        same[["life_id"]].assign(
            look_years=age, look_on=same["installed_on"] + pd.Timedelta(days=round(age * 365.25)), method="visual",
            scope="removed", result=result, shows=shows, verdict=verdict, grade="valid", trigger="scheduled",
        )
        for age, result, shows, verdict in (
            (5.0, "no_indication", "clear", "none"), (6.0, "relevant", "indication", "open"),
        )
    ]  # fmt: skip
    return same, pd.concat(rows, ignore_index=True), boats


def million_years(given: Frames) -> Frames:
    """Every age so large that no fleet has it."""
    lives, looks, boats = given
    names = ["lower_years", "upper_years", "entry_years", "age_years", "ranking_clear_years", "last_clear_years"]
    return lives.assign(**{n: lives[n] * 1e5 for n in names}), looks.assign(look_years=looks["look_years"] * 1e5), boats


def one_of_a_million_years(given: Frames) -> Frames:
    lives, looks, boats = given
    own = lives.index == 0
    names = ["lower_years", "age_years", "ranking_clear_years", "last_clear_years"]
    far = lives.assign(
        **{n: np.where(own, 1e6, lives[n]) for n in names}, upper_years=np.where(own, np.inf, lives["upper_years"])
    )
    life = lives["life_id"].iloc[0]
    rest = looks[looks["life_id"] != life]
    row = looks.iloc[[0]].assign(life_id=life, look_years=1e6, shows="clear", verdict="none", result="no_indication")
    return far, pd.concat([rest, row], ignore_index=True), boats


def one_life(given: Frames) -> Frames:
    found = given[0][np.isfinite(given[0]["upper_years"])]
    return of_lives(given, given[0]["life_id"] == found["life_id"].iloc[0])


FLEETS = [
    no_event, one_event, all_left_censored, one_boat, one_look_each, ages_of_zero, identical_rows, million_years,
    one_of_a_million_years, one_life,
]  # fmt: skip


def made(given: Frames, way: str) -> Estimates:
    settings = replace(Settings(), estimate=replace(Estimate(), draws=100, **WAYS[way]))
    return estimate(*given, as_of=AS_OF, settings=settings)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("fleet", FLEETS, ids=lambda f: f.__name__)
def test_no_number_that_is_not_one(fleet: Callable[[Frames], Frames], way: str) -> None:
    """Every table keeps its promise; each class has finite positive numbers in the order lower, value, upper, or none
    and says why; each chance lies in [0, 1] within its interval, or is empty with the reason (DoD of the estimate)."""
    found = made(fleet(whole()), way)
    for name, table in TABLES.items():
        checked(getattr(found, name), table)
    for row in found.classes.to_dict("records"):
        for name in ("shape", "scale_years", "b10_years"):
            ends = [row[f"{name}_lower"], row[name], row[f"{name}_upper"]]
            if np.isnan(ends).all():
                assert any(word in row["model"] for word in ("bound only", "no estimate", "no life of known age"))
            else:
                assert np.isfinite(ends).all()
                assert 0.0 < ends[0] <= ends[1] <= ends[2]
    for row in found.chances.to_dict("records"):
        ends = [row["chance_lower"], row["chance"], row["chance_upper"]]
        assert (np.isnan(ends).all() and row["model"]) or (0.0 <= ends[0] <= ends[1] <= ends[2] <= 1.0)
    assert not np.isinf(found.chances["logit_sd"].to_numpy(dtype=float)).any()


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("fleet", [no_event, all_left_censored, ages_of_zero], ids=lambda f: f.__name__)
def test_these_are_refused(fleet: Callable[[Frames], Frames], way: str) -> None:
    """Without an indication, or without a clear look, no number is made up: the reason stands in its place."""
    found = made(fleet(whole()), way)
    assert found.classes[["shape", "scale_years", "b10_years"]].isna().all(axis=None)
    assert found.classes["model"].str.len().min() > 20


@pytest.mark.parametrize("way", ["default", "plain"])
def test_no_event_gives_the_bounds_in_words(way: str) -> None:
    """0 of n clear: the exact binomial bound, and the zero-failure bound at shapes 1, 2 and 3.5."""
    words = made(no_event(whole()), way).classes["model"]
    assert words.str.contains(r"0 of \d+ with a clear look had an indication, so up to \d+% may have one").all()
    assert words.str.contains("were the shape 1, 2, 3.5, one in ten would have an indication no earlier than").all()


def test_thin_classes_say_the_bounds_beside_their_numbers() -> None:
    """One indication in one class: thin, its fixed-shape bounds; the others borrow and say what none seen shows."""
    classes = made(one_event(whole()), "default").classes
    assert set(classes["evidence"]) == {"thin", "none"}
    assert classes.query("evidence == 'thin'")["model"].str.contains("with one seen, were the shape").all()
    assert classes.query("evidence == 'none'")["model"].str.contains("with none seen, were the shape").all()


def test_a_fixed_shape_bound_by_hand() -> None:
    """Ten lives clear at 10 years, shape 2, none seen: scale >= 10 sqrt(10 / 2.9957) = 18.27, so one in ten no earlier
    than 18.27 sqrt(.10536) = 5.93 years; with one seen 20 / chi2(.95; 4) = 20 / 9.4877: 14.52 and 4.71 (by hand)."""
    from bobstay.estimate.few import bound_in_words

    lives = pd.DataFrame({"lower_years": np.full(10, 10.0)})
    assert ", 5.9, " in bound_in_words(lives, event_count=0, found=0.5)
    assert "52% may have one" in bound_in_words(lives, event_count=0, found=0.5)
    assert ", 4.7, " in bound_in_words(lives, event_count=1, found=1.0)
