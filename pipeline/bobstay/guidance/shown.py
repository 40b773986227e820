"""What the looks at a class have shown, whatever curve is drawn: a bound, and the tests that would show more."""

from __future__ import annotations

import numpy as np

from bobstay.bounds import share_upper, tests_needed

CONFIDENCE = 0.95
SHARES = (0.90, 0.95, 0.99)


def bound_upper(found: int, looked: int) -> float:
    """Return the largest share with an indication that the looks allow (95 %, exact binomial); NaN without a look."""
    return share_upper(found, looked, confidence=CONFIDENCE) if looked else float("nan")


def still_needed(share: float, looked: int) -> int:
    """Return how many more lives, each with a clear look, would show that at least `share` have none (95 %).

    For a class in which nothing was found: 29, 59 and 299 in all for 90, 95 and 99 % (share^n <= .05), tests taken at
    their word.
    """
    return max(0, tests_needed(share, confidence=CONFIDENCE) - looked)


def needed_in_words(found: int, looked: int, *, shows: float) -> str:
    """Say what more clear looks would show of a class in which nothing was found; "" where something was.

    `shows`: the chance that the usual test shows a crack, by which the looks needed rise.
    """
    if found or not 0 < shows <= 1:
        return ""
    all_of, with_misses = (
        ", ".join(str(int(np.ceil(np.log1p(-CONFIDENCE) / np.log1p(-(1 - share) * seen) - 1e-9))) for share in SHARES)
        for seen in (1.0, shows)
    )
    more = ", ".join(str(still_needed(share, looked)) for share in SHARES)
    return (
        f"To show that 9, 19 or 99 in 10, 20 or 100 have none takes {all_of} lives with a clear look ({more} more; "
        f"{with_misses} by a test that shows {100 * shows:.0f} % of cracks)."
    )
