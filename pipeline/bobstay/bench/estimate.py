"""How long the estimates take on a million looks: `python -m bobstay.bench.estimate [--boats 5000]`.

In one run on the same aggregated rows of 24 classes: the plain estimate, the general-purpose library (lifelines), the
whole default estimate on the looks themselves, and the chances by it; ratios of times, and the peak memory.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from bobstay import weibull
from bobstay.bench.measuring import peak_mb, timed
from bobstay.joint import Estimated, RatePrior, chances, crossed_design, estimate_with_signs
from bobstay.study.by_year import simulate
from bobstay.study.trial import plain_intervals

if TYPE_CHECKING:
    from collections.abc import Callable

    from bobstay.joint.fleet import Fleet, Floats
    from bobstay.study.truth import Truth

PLACES = 48  # about 205 looks a boat with those of simulate
MONTH = 1.0 / 12.0
T = TypeVar("T")
Rows = list[tuple["Floats", "Floats", "Floats", "Floats"]]


def aggregated(fleet: Fleet, row_count: int) -> Rows:
    """Return by class entry, lower, upper in whole months (never lower == upper) and the count of each."""
    entry, lower, upper = plain_intervals(fleet, row_count)
    found = []
    for k in range(fleet.class_count):
        own = (fleet.class_index == k) & ~np.isnan(entry)
        months = np.stack([np.round(x[own] / MONTH) for x in (entry, lower, upper)], axis=1)
        months[:, 1] = np.maximum(months[:, 1], months[:, 0])
        months[:, 2] = np.where(np.isfinite(months[:, 2]), np.maximum(months[:, 2], months[:, 1] + 1.0), np.inf)
        rows, count = np.unique(months, axis=0, return_counts=True)
        found.append((rows[:, 0] * MONTH, rows[:, 1] * MONTH, rows[:, 2] * MONTH, count.astype(float)))
    return found


def by_us(rows: Rows) -> list[float]:
    """Return the log-likelihood of the plain estimate of each class."""
    return [weibull.estimate(*one).log_likelihood for one in rows]


def by_lifelines(rows: Rows) -> list[float]:
    """Return the log-likelihood of the library's estimate of each class."""
    from lifelines import WeibullFitter

    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what it says of its search is not what is timed
        for entry, lower, upper, count in rows:
            made = WeibullFitter().fit_interval_censoring(lower, upper, entry=entry, weights=count)
            found.append(float(made.log_likelihood_))
    return found


def whole(fleet: Fleet, truth: Truth) -> Estimated:
    """Return the default estimate: rates, pooling, boat effects, failures and suspicions, and all their uncertainty."""
    rates = RatePrior(truth.found_thought, truth.false_call_thought, np.full(len(truth.found), 20.0))
    return estimate_with_signs(fleet, crossed_design(truth.type_index, truth.material_index, 2), rates=rates)


def all_chances(made: Estimated, fleet: Fleet, truth: Truth) -> int:
    """Work out the chance of every part in service with its interval; return how many there are."""
    lives = np.flatnonzero(truth.is_in_service)
    return len(chances(made, fleet.of_lives(lives), truth.last_years[lives] + 1.0).chance)


def spent(work: Callable[[], T]) -> tuple[T, float]:
    """Return what some work gives, and the processor seconds it took (a busy machine does not change them)."""
    with timed() as taken:
        made = work()
    return made, taken.processor


def bench(boats: int) -> str:
    """Return the lines of one run."""
    fleet, truth = simulate(1, boats, places=PLACES)
    before = peak_mb() / 1e3
    rows, gathering = spent(lambda: aggregated(fleet, len(truth.found)))
    ours, plain = spent(lambda: by_us(rows))
    made, full = spent(lambda: whole(fleet, truth))
    parts, asked = spent(lambda: all_chances(made, fleet, truth))
    memory = peak_mb() / 1e3
    theirs, library = spent(lambda: by_lifelines(rows))
    apart = max(abs(a - b) for a, b in zip(ours, theirs, strict=True))
    lines = [
        f"{len(fleet.look_age):,} looks at {fleet.life_count:,} lives, {boats:,} boats, {fleet.class_count} classes; "
        f"{sum(len(one[0]) for one in rows):,} aggregated rows ({gathering:.2f} s)",
        f"plain estimate {plain:.2f} s; lifelines {library:.2f} s: {library / plain:.1f} times as long "
        f"(log-likelihoods at most {apart:.3f} apart)",
        f"default estimate {full:.2f} s: {full / library:.2f} of lifelines' plain; settled: {made.has_converged}",
        f"the chances of {parts:,} parts in service {asked:.2f} s; both {(full + asked) / library:.2f} of it",
        f"peak memory {memory:.2f} GB, of which {before:.2f} before anything was estimated",
    ]
    return "\n".join(lines)


def main() -> None:
    """Read the command line and print."""
    parser = argparse.ArgumentParser(description="Time the estimates.")
    parser.add_argument("--boats", type=int, default=5000)
    sys.stdout.write(bench(parser.parse_args().boats) + "\n")


if __name__ == "__main__":
    main()
