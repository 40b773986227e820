"""Properties every ranking has, on random invented fleets."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from bobstay.rank import rank
from bobstay.settings import Settings
from decision_frames import AS_OF, Frames, fleet

FEW = settings(max_examples=8, deadline=None, derandomize=True)
SEEDS = st.integers(0, 10_000)


def ranked(frames: Frames) -> pd.DataFrame:
    return rank(frames.lives, frames.chances, boats=frames.boats, looks=frames.looks, settings=Settings(), as_of=AS_OF)


def renamed(frame: pd.DataFrame, word: str) -> pd.DataFrame:
    """Put another name in place of every boat's, so that the order of names turns round."""
    names = {f"B{i:03d}": f"{word}{999 - i}" for i in range(1000)}
    out = frame.copy()
    if "boat_id" in out:
        out["boat_id"] = out["boat_id"].map(names)
    if "life_id" in out:
        out["life_id"] = [names[x.split("/", 1)[0]] + "/" + x.split("/", 1)[1] for x in out["life_id"]]
    return out


@FEW
@given(SEEDS)
def test_renaming_boats_changes_nothing_but_names(seed: int) -> None:
    """Ages differ in every invented life, so no order rests on names alone."""
    frames = fleet(seed, boat_count=4)
    other = Frames(*(renamed(getattr(frames, name), "Z") for name in Frames.__slots__))
    before, after = renamed(ranked(frames), "Z"), ranked(other)
    unique = ~frames.lives.duplicated(["fitting_type", "age_years"], keep=False).any()
    if unique:
        pd.testing.assert_frame_equal(before, after)


@FEW
@given(SEEDS, st.integers(0, 39), st.integers(1, 5))
def test_a_graver_consequence_never_lowers_the_loss_nor_its_place(seed: int, which: int, consequence: int) -> None:
    frames = fleet(seed, boat_count=4)
    life_id = frames.lives["life_id"].iloc[which]
    places = []
    for stated in (consequence, min(consequence + 1, 5)):
        lives = frames.lives.copy()
        lives.loc[which, "consequence"] = stated
        places.append(ranked(replace(frames, lives=lives)).set_index("life_id").loc[life_id])
    milder, graver = places
    if pd.notna(milder["expected_loss"]):
        assert graver["expected_loss"] >= milder["expected_loss"]
    assert graver["rank"] <= milder["rank"]
    assert graver["list"] == milder["list"]


@FEW
@given(SEEDS)
def test_the_order_of_rows_that_come_in_does_not_matter(seed: int) -> None:
    frames = fleet(seed, boat_count=3)
    shuffled = Frames(*(getattr(frames, n).sample(frac=1, random_state=seed) for n in Frames.__slots__))
    pd.testing.assert_frame_equal(ranked(frames), ranked(shuffled))
