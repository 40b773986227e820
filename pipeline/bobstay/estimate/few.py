"""What no, one or two indications still show of a class, in words: bounds, never an estimate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bobstay.bounds import cracked_upper, scale_lower

if TYPE_CHECKING:
    import pandas as pd

    from bobstay.estimate.observed import Floats, Observed

CONFIDENCE = 0.95
SHAPES = (1.0, 2.0, 3.5)  # no wear, some, much: the least, middle and most that fittings are thought to show


def bound_in_words(lives: pd.DataFrame, *, event_count: int, found: float) -> str:
    """Return the bounds that the looks at one class's lives set ("" where there was no clear look).

    `lives` as in tables.LIVES; `found` is the chance that its looks show a crack. Ages are those at which lives were
    last found clear, so an indication counts from before it was found: the bounds on age are low rather than high.
    """
    clear = lives["lower_years"].to_numpy(dtype=float)
    clear = clear[clear > 0]
    if not clear.size:
        return ""
    return (
        _share_in_words(clear, found) + _ages_in_words(clear, 0)
        if event_count == 0
        else _ages_in_words(clear, event_count)
    )


def _share_in_words(clear: Floats, found: float) -> str:
    share = cracked_upper(clear.size, confidence=CONFIDENCE, found=found)
    tests = "" if found >= 1 else f", a look showing {found:.0%} of cracks"
    return (
        f"0 of {clear.size} with a clear look had an indication, so up to {share:.0%} may have one "
        f"({CONFIDENCE:.0%}{tests}), at ages from {clear.min():.1f} to {clear.max():.1f} years; "
    )


def _ages_in_words(clear: Floats, events: int) -> str:
    """Say how early one in ten may have one, the shape taken as known (tests taken at their word)."""
    ages = []
    for shape in SHAPES:
        scale = scale_lower(clear, shape=shape, confidence=CONFIDENCE, events=events)
        ages.append(f"{scale * (-np.log(0.9)) ** (1 / shape):.1f}")
    shapes = ", ".join(f"{shape:g}" for shape in SHAPES)
    seen = {0: "none", 1: "one", 2: "two"}.get(events, str(events))
    return (
        f"with {seen} seen, were the shape {shapes}, one in ten would have an indication no earlier than "
        f"{', '.join(ages)} years ({CONFIDENCE:.0%}, tests taken at their word)"
    )


def mean_found(seen: Observed, found: Floats) -> Floats:
    """Return by class the mean chance `found` (by detection row) of its looks; 1 where it has none."""
    named = seen.look_row >= 0
    k = seen.class_index[seen.look_life[named]]
    looks = np.bincount(k, minlength=len(seen.classes))
    sums = np.bincount(k, found[seen.look_row[named]], minlength=len(seen.classes)) if named.any() else 0.0 * looks
    return np.where(looks > 0, sums / np.maximum(looks, 1), 1.0)


def bounds_by_class(seen: Observed, event_counts: Floats, found: Floats) -> list[str]:
    """Return the bounds of each class in words; `found` by detection row."""
    chances = mean_found(seen, found)
    return [
        bound_in_words(
            seen.lives[(seen.class_index == k) & seen.used], event_count=int(event_counts[k]), found=float(chances[k])
        )
        for k in range(len(seen.classes))
    ]
