"""Taking one row away changes what it should and nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from bobstay.estimate import estimate
from bobstay.rank import rank
from bobstay.settings import Settings
from clean_fleets import with_marks
from simulated_fleet import simulate
from simulated_frames import AS_OF, boat_rows, frames, life_rows

APART = replace(
    Settings(),
    estimate=replace(Settings().estimate, detection="perfect", pooling="none", boat_effect=False, draws=200),
)


def ranked(lives: pd.DataFrame, looks: pd.DataFrame, boats: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    lives, looks = with_marks(lives, looks, np.random.default_rng(1))
    counts = looks.groupby("life_id").size()
    lives = lives.assign(
        consequence_reason=None,
        access="aloft",
        position=None,
        last_valid_look=pd.NaT,
        last_method=None,
        look_count=lives["life_id"].map(counts).fillna(0),
    )
    made = estimate(lives, looks, boats, as_of=AS_OF, settings=settings)
    named = boats.assign(boat_name=None)
    return rank(lives, made.chances, boats=named, looks=looks, settings=settings, as_of=AS_OF)


def one_row_less(settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame, pd.Series]:
    """Return the list before and after the last clear look at one part in service is taken away, and that part."""
    fleet, truth = simulate(11, 30, places=20, classes=4)
    lives, looks, boats = frames(fleet, truth)
    serving = lives[lives["is_in_service"] & lives["open_indication_on"].isna() & lives["last_clear_years"].gt(4)]
    chosen = serving.iloc[5]
    mine = looks[(looks["life_id"] == chosen["life_id"]) & (looks["shows"] == "clear")]
    gone = mine.sort_values("look_years").index[-1]
    less = looks.drop(index=gone)
    before = ranked(lives, looks, boats, settings)
    return before, ranked(life_rows(fleet, truth, less), less, boat_rows(truth), settings), chosen


def test_a_row_less_moves_only_its_own_class_where_classes_are_kept_apart() -> None:
    """Theory: without pooling and boat effect the likelihood is a sum over classes, so no other class can move."""
    before, after, chosen = one_row_less(APART)
    kind, of = chosen["fitting_type"], chosen["material"]
    other = [(t["fitting_type"] != kind) | (t["material"] != of) for t in (before, after)]
    columns = ["life_id", "chance", "chance_lower", "chance_upper", "expected_loss", "action", "method", "margin"]
    left, right = (t.loc[keep, columns].reset_index(drop=True) for t, keep in zip((before, after), other, strict=True))
    assert len(left) > 100
    pd.testing.assert_frame_equal(left, right, rtol=1e-12)
    own = [t.set_index("life_id").loc[chosen["life_id"], "chance"] for t in (before, after)]
    assert own[1] > own[0]


def test_a_row_less_moves_its_own_part_most_under_the_default() -> None:
    """Judgement: with pooling all move a little, the part whose clear look is gone moves up and most of its class."""
    lean = replace(Settings(), estimate=replace(Settings().estimate, draws=100))
    before, after, chosen = one_row_less(lean)
    both = before.set_index("life_id")[["chance"]].join(after.set_index("life_id")["chance"].rename("after"))
    moved = np.log(both["after"] / (1 - both["after"])) - np.log(both["chance"] / (1 - both["chance"]))
    own = moved[chosen["life_id"]]
    assert own > 0
    assert own > 3 * moved.drop(chosen["life_id"]).abs().quantile(0.99)


def test_lots_are_drawn_again_only_for_what_changed() -> None:
    """Each part has its own number: the same parts are drawn but for one whose records or place changed."""
    before, after, _ = one_row_less(APART)
    kept = set(before.loc[before["draw"], "life_id"]) & set(after.loc[after["draw"], "life_id"])
    assert before["draw"].sum() == after["draw"].sum() == APART.rank.draw
    assert len(kept) >= APART.rank.draw - 1


def test_the_possible_places_hold_the_place_after_a_row_is_gone() -> None:
    """Judgement: one row moves a part within the places it could take, nineteen times in twenty at least."""
    before, after, _ = one_row_less(APART)
    both = before.set_index("life_id").join(after.set_index("life_id")["rank"].rename("then"), how="inner")
    inside = (both["then"] >= both["rank_lower"]) & (both["then"] <= both["rank_upper"])
    assert inside.mean() > 0.95
