"""The default estimate from frames to frames: every choice of settings, what it refuses, what counts for a chance."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from bobstay.estimate.ages import unknown_age_in_words
from bobstay.estimate.imperfect import estimate_imperfect, seen_by
from bobstay.estimate.record import Estimates
from bobstay.settings import Estimate, Settings
from bobstay.tables import CHANCES, CLASS_DRAWS, CLASSES, DETECTION, NONPARAMETRIC, checked
from simulated_fleet import simulate
from simulated_frames import AS_OF, frames

TABLES = {
    "classes": CLASSES,
    "detection": DETECTION,
    "nonparametric": NONPARAMETRIC,
    "chances": CHANCES,
    "class_draws": CLASS_DRAWS,
}
CHOICES = [
    {},
    {"pooling": "none"},
    {"boat_effect": False},
    {"pooling": "none", "boat_effect": False},
    {"detection": "perfect"},
    {"detection": "perfect", "boat_effect": False},
    {"detection": "perfect", "pooling": "none"},
    {"detection": "perfect", "pooling": "none", "boat_effect": False},
]
Frames = tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]


@cache
def small() -> Frames:
    return frames(*simulate(31, 16, places=20, classes=5))


def made(given: Frames, **choices: Any) -> Estimates:
    settings = replace(Settings(), estimate=replace(Estimate(), draws=200, **choices))
    return estimate_imperfect(seen_by(*given, settings=settings), settings=settings)


def copied(given: Frames) -> Frames:
    lives, looks, boats = (frame.copy() for frame in given)
    return lives, looks, boats


@cache
def default() -> Estimates:
    return made(small())


@pytest.mark.parametrize("choices", CHOICES, ids=lambda c: ", ".join(f"{k}={v}" for k, v in c.items()) or "default")
def test_every_choice_keeps_the_promises(choices: dict[str, Any]) -> None:
    """All five tables as promised, intervals around their estimates, every life in service with a chance."""
    found = made(small(), **choices)
    for name, table in TABLES.items():
        checked(getattr(found, name), table)
    classes, chances = found.classes, found.chances
    for name in ("shape", "scale_years", "b10_years"):
        assert (classes[f"{name}_lower"] < classes[name]).all()
        assert (classes[name] < classes[f"{name}_upper"]).all()
    assert set(chances["life_id"]) == set(small()[0].query("is_in_service")["life_id"])
    assert chances["chance"].between(0, 1).all()
    assert (chances["chance_lower"] <= chances["chance"]).all()
    assert (chances["chance"] <= chances["chance_upper"]).all()
    assert (chances["chance_now"] <= chances["chance"]).all()


def test_draw_zero_is_the_estimate() -> None:
    first = default().class_draws.query("draw == 0").reset_index(drop=True)
    np.testing.assert_allclose(np.exp(first["log_scale"]), default().classes["scale_years"], rtol=1e-12)
    np.testing.assert_allclose(np.exp(first["log_shape"]), default().classes["shape"], rtol=1e-12)


def test_twice_the_same() -> None:
    """The same frames and settings give the same bytes."""
    again = made(small())
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(default(), name), getattr(again, name), check_exact=True)


def test_order_of_rows_does_not_matter() -> None:
    """Rows shuffled, the numbers are the same (to rounding)."""
    lives, looks, boats = small()
    shuffled = tuple(frame.sample(frac=1.0, random_state=3) for frame in (lives, looks, boats))
    again = made(shuffled)  # type: ignore[arg-type]
    np.testing.assert_allclose(again.classes["b10_years"], default().classes["b10_years"], rtol=1e-6)


def test_perfect_detection_alone_is_the_plain_weibull_under_weak_priors() -> None:
    """Perfect detection, no pooling, no boat effect: within the weak priors' pull of the plain maximum likelihood of
    each class (bobstay.weibull, itself held to published values); covariates taken away."""
    from bobstay import weibull

    lives, looks, boats = frames(*simulate(8, 60, places=30, classes=3))
    boats = boats.assign(water=None, climate=None)
    found = made((lives, looks, boats), detection="perfect", pooling="none", boat_effect=False).classes
    used = lives[lives["left_out"].isna()]
    for row, (_, group) in zip(found.itertuples(), used.groupby(["fitting_type", "material"]), strict=True):
        plain = weibull.estimate(group["entry_years"], group["lower_years"], group["upper_years"])
        assert row.scale_years == pytest.approx(plain.scale, rel=0.02)
        assert row.shape == pytest.approx(plain.shape, rel=0.03)


def test_no_indication_is_refused_in_words() -> None:
    """No finding: no Weibull numbers, no chances, and the reason; rates stay at the settings."""
    lives, looks, boats = copied(small())
    lives["upper_years"], lives["open_indication_on"] = np.inf, pd.NaT
    found = made((lives, looks[looks["shows"] == "clear"], boats))
    for name, table in TABLES.items():
        checked(getattr(found, name), table)
    assert found.classes["b10_years"].isna().all()
    assert (found.classes["evidence"] == "none").all()
    assert found.classes["model"].str.contains("a bound only").all()
    assert found.chances["chance"].isna().all()
    assert (found.chances["basis"] == "none").all()
    assert (found.detection["basis"] == "held at the setting").all()
    assert (found.detection["found_lower"] < found.detection["found"]).all()
    assert found.class_draws.empty


def test_only_unfounded_indications_are_refused() -> None:
    lives, looks, boats = copied(small())
    looks.loc[looks["shows"] == "indication", "verdict"] = "unfounded"
    lives["upper_years"] = np.inf
    assert made((lives, looks, boats)).classes["model"].str.contains("a bound only").all()


def test_no_clear_look_is_refused_in_words() -> None:
    lives, looks, boats = small()
    found = made((lives, looks[looks["shows"] == "indication"], boats))
    assert found.classes["b10_years"].isna().all()
    assert found.classes["model"].str.contains("no clear look").all()


def test_no_look_and_no_life_are_refused() -> None:
    lives, looks, boats = small()
    assert made((lives, looks.head(0), boats)).classes["b10_years"].isna().all()
    none = made((lives.head(0), looks.head(0), boats))
    assert none.classes.empty
    assert none.chances.empty


def without_findings_in(given: Frames, fitting_type: str, keep: int) -> Frames:
    """Take all but the first `keep` indications of a type away, their looks with them."""
    lives, looks, boats = copied(given)
    own = set(lives.loc[lives["fitting_type"] == fitting_type, "life_id"])
    found = looks.index[looks["life_id"].isin(own) & (looks["shows"] == "indication")]
    stay = looks.loc[found].query("verdict != 'unfounded'").drop_duplicates("life_id").index[:keep]
    lost = set(looks.loc[found.difference(stay), "life_id"]) - set(looks.loc[stay, "life_id"])
    lives.loc[lives["life_id"].isin(lost), ["upper_years", "open_indication_on"]] = [np.inf, pd.NaT]
    return lives, looks.drop(found.difference(stay)), boats


def test_a_class_without_findings_borrows_and_says_so() -> None:
    name = small()[0]["fitting_type"].iloc[0]
    found = made(without_findings_in(small(), name, 0))
    own = found.classes[found.classes["fitting_type"] == name]
    assert (own["evidence"] == "none").all()
    assert own["model"].str.contains("borrowed from other classes").all()
    assert own["b10_years"].notna().all()
    ids = small()[0].query("fitting_type == @name and is_in_service")["life_id"]
    assert (found.chances.set_index("life_id").loc[ids, "basis"] == "borrowed").all()


def test_without_pooling_a_class_without_findings_has_no_numbers() -> None:
    name = small()[0]["fitting_type"].iloc[0]
    found = made(without_findings_in(small(), name, 0), pooling="none")
    own = found.classes[found.classes["fitting_type"] == name]
    assert own["b10_years"].isna().all()
    assert own["model"].str.contains("a bound only").all()
    assert not found.class_draws["fitting_type"].eq(name).any()
    assert found.classes.loc[found.classes["fitting_type"] != name, "b10_years"].notna().all()


def test_few_findings_are_thin() -> None:
    lives, looks, boats = frames(*simulate(31, 16, places=20, classes=1))
    found = made(without_findings_in((lives, looks, boats), lives["fitting_type"].iloc[0], 2))
    assert found.classes["evidence"].tolist() == ["thin"]
    assert found.classes["event_count"].tolist() == [2]


def test_few_dispositions_are_said() -> None:
    lives, looks, boats = copied(small())
    looks.loc[looks["shows"] == "indication", "verdict"] = "open"
    found = made((lives, looks, boats))
    assert found.classes["model"].str.contains("few findings have a disposition").all()
    assert found.detection["basis"].str.contains("few findings have a disposition").all()
    assert not default().classes["model"].str.contains("few findings").any()


def life_in_service(*, looked: bool) -> str:
    """A life in service, never indicated, with a clear look or without any."""
    lives, looks, _ = small()
    clear = set(looks.loc[looks["shows"] == "clear", "life_id"])
    seen = set(looks["life_id"])
    fits = lives["is_in_service"] & np.isinf(lives["upper_years"])
    fits &= lives["life_id"].isin(clear) if looked else ~lives["life_id"].isin(seen)
    return str(lives.loc[fits, "life_id"].iloc[0])


def chance_of(found: Estimates, life_id: str) -> float:
    return float(found.chances.set_index("life_id").loc[life_id, "chance"])


def look(
    life_id: str, verdict: str, *, method: str = "penetrant", scope: str = "removed", ago: int = 30
) -> dict[str, Any]:
    lives = small()[0].set_index("life_id")
    day = pd.Timestamp(AS_OF) - pd.Timedelta(days=ago)
    years = (day - lives.loc[life_id, "installed_on"]).days / 365.25
    shows = "clear" if verdict == "none" else "indication"
    row = {"life_id": life_id, "look_years": years, "look_on": day, "method": method, "scope": scope}
    return row | {"shows": shows, "verdict": verdict, "grade": "valid"}


def with_looks(*rows: dict[str, Any]) -> Frames:
    lives, looks, boats = copied(small())
    return lives, pd.concat([looks, pd.DataFrame(rows)], ignore_index=True), boats


def test_a_confirmed_crack_still_in_place_is_certain() -> None:
    life = life_in_service(looked=True)
    assert chance_of(made(with_looks(look(life, "confirmed"))), life) > 0.999


def test_an_open_indication_raises_a_clear_look_lowers() -> None:
    life = life_in_service(looked=True)
    now = chance_of(default(), life)
    assert chance_of(made(with_looks(look(life, "open"))), life) > now
    assert chance_of(made(with_looks(look(life, "none"))), life) < now


def test_looks_after_a_confirmed_crack_change_nothing() -> None:
    life = life_in_service(looked=True)
    once = made(with_looks(look(life, "confirmed", ago=60)))
    then = made(with_looks(look(life, "confirmed", ago=60), look(life, "none", ago=5)))
    np.testing.assert_allclose(then.classes["b10_years"], once.classes["b10_years"], rtol=1e-9)


def test_an_event_voids_clear_looks_for_the_chance_not_for_the_estimate() -> None:
    """The chance goes back up to that of a part never found clear; the classes stay as they were."""
    life = life_in_service(looked=True)
    lives, looks, boats = copied(small())
    lives.loc[lives["life_id"] == life, "voided_before"] = pd.Timestamp("2023-12-30")
    found = made((lives, looks, boats))
    assert chance_of(found, life) > chance_of(default(), life)
    pd.testing.assert_frame_equal(found.classes, default().classes)


def test_a_clear_look_after_an_event_does_not_bring_the_older_ones_back() -> None:
    """With one clear look after the event, older ones still count for nothing: the chance is higher than it was with
    all of them, and lower than with none."""
    life = life_in_service(looked=True)
    lives, looks, boats = with_looks(look(life, "none", ago=1))
    lives = lives.copy()
    lives.loc[lives["life_id"] == life, "voided_before"] = pd.Timestamp("2023-12-30")
    voided, kept = (
        chance_of(made((lives, looks, boats)), life),
        chance_of(made(with_looks(look(life, "none", ago=1))), life),
    )
    lives["ranking_clear_years"] = lives["ranking_clear_years"].where(lives["life_id"] != life)
    none = lives.copy()
    none.loc[none["life_id"] == life, "voided_before"] = pd.Timestamp("2024-01-01")
    assert kept < voided < chance_of(made((none, looks, boats)), life)


def test_a_failure_in_service_is_a_crack_and_no_look() -> None:
    """Broken in service: certain, and the method written beside it gains neither a look nor a finding."""
    life = life_in_service(looked=True)
    row = look(life, "confirmed", method="visual", ago=5)
    seen, broken = made(with_looks(row)), made(with_looks(row | {"result": "failed"}))
    counts = [f.detection.set_index(["method", "scope"])["look_count"].sum() for f in (seen, broken, default())]
    assert counts[1] == counts[0] - 1 == counts[2]
    assert chance_of(broken, life) > 0.999
    assert broken.classes["event_count"].sum() == seen.classes["event_count"].sum()


@pytest.mark.parametrize("method", ["visual", "penetrant"])
def test_repeats_in_place_reach_a_floor(method: str) -> None:
    """Twelve clear looks in place lower the chance, and leave at least the share of the odds that lies hidden: the
    settings' ratio in place / removed is one half for these methods."""
    life = life_in_service(looked=False)
    one = made(with_looks(look(life, "none", method=method, scope="in_place")))
    many = made(with_looks(*(look(life, "none", method=method, scope="in_place", ago=5 + i) for i in range(12))))
    odds = [p / (1 - p) for p in (chance_of(f, life) for f in (default(), one, many))]
    assert odds[2] < odds[1] < odds[0]
    assert odds[2] > 0.4 * odds[0]


def test_repeats_of_a_method_as_good_in_place_have_no_floor() -> None:
    """Eddy current finds in place what it finds on a removed part, by the settings: nothing is hidden from it."""
    life = life_in_service(looked=False)
    rows = (look(life, "none", method="eddy_current", scope="in_place", ago=5 + i) for i in range(12))
    lives = small()[0].set_index("life_id")
    assert lives.loc[life, "age_years"] > 0
    assert chance_of(made(with_looks(*rows)), life) < 0.6 * chance_of(default(), life)


def test_a_removal_for_an_indication_counts_as_one() -> None:
    """A part taken out for an indication that no look tells of is an event of its class."""
    lives, looks, boats = copied(small())
    life = life_in_service(looked=True)
    own = lives["life_id"] == life
    lives["removal_reason"] = lives["removal_reason"].astype("object")
    lives.loc[own, "removal_reason"] = "indication"
    lives.loc[own, "is_in_service"] = False
    lives.loc[own, "upper_years"] = lives.loc[own, "age_years"]
    found = made((lives, looks, boats))
    assert found.classes["event_count"].sum() == default().classes["event_count"].sum() + 1
    assert found.detection["indication_count"].sum() == default().detection["indication_count"].sum()


def test_unknown_ages_are_left_out_and_still_get_a_chance() -> None:
    lives, looks, boats = copied(small())
    life = life_in_service(looked=True)
    own = lives["life_id"] == life
    lives.loc[own, ["left_out", "age_basis"]] = ["age_unknown", "at_least"]
    lives.loc[own, "installed_earliest"] = pd.NaT
    lives.loc[own, "entry_years"] = np.nan
    found = made((lives, looks, boats))
    assert found.classes["left_out_count"].sum() == 1
    assert 0 < chance_of(found, life) < 1


def test_late_joiners_are_not_left_out() -> None:
    """Lives the perfect estimate must leave out (no clear look since joining) take part here."""
    lives = small()[0]
    left_out = lives["left_out"].notna().sum()
    assert left_out > 0
    assert default().classes["life_count"].sum() == len(lives)
    assert made(small(), detection="perfect").classes["left_out_count"].sum() == left_out


def test_wide_installation_ranges_beat_the_joining_day() -> None:
    """Half of the parts older than their boat's records lose their day: three copies between build and joining leave
    ln B10 nearer to what exact days give than taking the joining day does (which a simulation study put 44 % off)."""
    fleet, truth = simulate(5, 60, places=25, classes=4)
    lives, looks, boats = frames(fleet, truth)
    late = (fleet.copy_entry > 0) & (np.arange(len(lives)) % 2 == 0)
    joined = pd.to_datetime(lives["boat_id"].map(boats.set_index("boat_id")["joined_earliest"]))
    exact = made((lives, looks, boats)).classes["b10_years"]
    wide = lives.copy()
    wide.loc[late, "age_basis"] = "bounded"
    wide.loc[late, "installed_latest"] = joined[late]
    built = lives.groupby("boat_id")["installed_earliest"].transform("min")
    wide.loc[late, "installed_earliest"] = built[late]
    shift = (lives["installed_on"] - wide["installed_earliest"]).dt.days.where(late, 0) / 365.25
    counted = wide.assign(
        installed_on=wide["installed_earliest"].where(late, wide["installed_on"]),
        age_years=wide["age_years"] + shift,
        lower_years=wide["lower_years"] + shift,
        upper_years=wide["upper_years"] + shift,
    )
    by_life = dict(zip(lives["life_id"], shift, strict=True))
    found = made((counted, looks.assign(look_years=looks["look_years"] + looks["life_id"].map(by_life)), boats))
    back = (joined - lives["installed_on"]).dt.days.where(late, 0) / 365.25
    by_joining = lives.assign(
        installed_on=joined.where(late, lives["installed_on"]),
        installed_earliest=joined.where(late, lives["installed_earliest"]),
        installed_latest=joined.where(late, lives["installed_latest"]),
        entry_years=lives["entry_years"].where(~late, 0.0),
        age_years=lives["age_years"] - back,
    )
    by_life = dict(zip(lives["life_id"], back, strict=True))
    young = made((by_joining, looks.assign(look_years=looks["look_years"] - looks["life_id"].map(by_life)), boats))
    off = [np.abs(np.log(f.classes["b10_years"] / exact)).mean() for f in (found, young)]
    assert off[0] < 0.1
    assert off[0] < 0.5 * off[1]


def test_an_unknown_age_is_told_from_its_oldest_to_its_newest() -> None:
    """A part of unknown day: its chance lies between those at the earliest and the latest day, which are those of the
    same part with that day stated; parts of known day have neither, and say nothing."""
    life = life_in_service(looked=True)
    lives, looks, boats = copied(small())
    own = lives["life_id"] == life
    day = lives.loc[own, "installed_on"].iloc[0]
    lives.loc[own, "age_basis"] = "rough"
    lives.loc[own, "installed_earliest"] = day - pd.Timedelta(days=3000)
    lives.loc[own, "installed_latest"] = day + pd.Timedelta(days=20)
    rows = made((lives, looks, boats)).chances.set_index("life_id")
    told = rows.loc[life]
    assert told["chance_if_newest"] < told["chance"] < told["chance_if_oldest"]
    assert rows.drop(life)[["chance_if_oldest", "chance_if_newest"]].isna().all(axis=None)
    words = unknown_age_in_words(told["chance_if_oldest"], told["chance_if_newest"], earliest=date(2001, 2, 3))
    assert "earliest, 2001-02-03" in words
    assert "at its latest" in words
    assert unknown_age_in_words(np.nan, np.nan) == ""
