"""The estimate tried on fleets of known truth, made by two generators written apart."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from bobstay.study import by_life, by_year
from bobstay.study.asked import put_into, sizes_of
from bobstay.study.kept import Kept
from bobstay.study.summary import Summary, markdown, put_between, records, summary
from bobstay.study.trial import Simulate, Trial, tried

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

__all__ = [
    "GENERATORS",
    "Summary",
    "Trial",
    "markdown",
    "put_between",
    "put_into",
    "records",
    "sizes_of",
    "study",
    "summary",
    "tried",
]

GENERATORS: dict[str, Simulate] = {"by year": by_year.with_failures, "by life": by_life.simulate}
FIRST_SEED = 9000


def study(sizes: Sequence[tuple[int, int]], *, say: Callable[[str], None], keep: Path | None = None) -> list[Summary]:
    """Try (fleets, boats) pairs, the fleets shared out among the generators; return a summary of each.

    Trials are kept in the file `keep`, and those it holds are not done again.
    """
    found, kept = [], Kept(keep)
    for fleets, boats in sizes:
        for place, (name, simulate) in enumerate(GENERATORS.items()):
            count = fleets // 2 + (place < fleets % 2)
            trials = []
            for i in range(count):
                say(f"{boats} boats, {name}: fleet {i + 1} of {count}")
                seed = FIRST_SEED + i
                trials.append(kept.trial((name, boats, seed), partial(tried, simulate, seed, boats)))
            if trials:
                found.append(summary(name, boats, trials))
    return found
