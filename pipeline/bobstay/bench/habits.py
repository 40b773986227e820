"""How many cracks the first tenth of each order holds: `python -m bobstay.bench.habits [--fleets 20] [--boats 600]`.

Fleets of known truth from both generators. Parts in service without an open indication are put in order by each way;
a crack is one that is there a year after the records end. Printed as a table.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from bobstay import scores
from bobstay.joint import KINDS, chance_by
from bobstay.study import GENERATORS
from bobstay.study.trial import HORIZON_YEARS, estimated, is_real, plain_estimates, plain_intervals

if TYPE_CHECKING:
    from collections.abc import Callable

    from bobstay.joint.fleet import Bools, Fleet, Floats, Ints
    from bobstay.study.trial import Simulate
    from bobstay.study.truth import Truth

FIRST_SEED = 31000
EVERY_YEARS = 4.0
ESTIMATE, PLAIN, OLDEST, WAITED, FIXED = (
    "this estimate", "plain interval model", "oldest first", "longest since a look", "a fixed interval"
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tried:
    """One fleet: the share of cracks in each order's first tenth, and the line of cracks on logit chance."""

    shares: dict[str, float]
    intercept: float
    slope: float
    expected_over_cracked: float


def tried(simulate: Simulate, seed: int, boats: int) -> Tried:
    """Simulate one fleet, put its parts in order by each way, and score them against the true cracks."""
    fleet, truth = simulate(seed, boats)
    lives = np.flatnonzero(truth.is_in_service & ~_has_finding(fleet, len(truth.found)))
    age = truth.last_years[lives]
    cracked = truth.onset_years[lives] <= age + HORIZON_YEARS
    chance = _by_estimate(fleet, truth, lives)
    waited = age - _last_clear(fleet)[lives]
    orders = {
        ESTIMATE: chance,
        PLAIN: _by_plain(fleet, lives, age, len(truth.found)),
        OLDEST: age,
        WAITED: waited,
        FIXED: (waited >= EVERY_YEARS).astype(float),
    }
    intercept, slope = scores.calibration(chance, cracked)
    shares = {name: scores.top_share(order, cracked) for name, order in orders.items()}
    return Tried(shares, intercept, slope, float(chance.sum() / cracked.sum()))


def _has_finding(fleet: Fleet, row_count: int) -> Bools:
    return np.bincount(fleet.look_life[is_real(fleet, row_count)], minlength=fleet.life_count) > 0


def _last_clear(fleet: Fleet) -> Floats:
    last = np.zeros(fleet.life_count)
    clear = fleet.look_code % len(KINDS) == KINDS.index("clear")
    np.maximum.at(last, fleet.look_life[clear], fleet.look_age[clear])
    return last


def _by_estimate(fleet: Fleet, truth: Truth, lives: Ints) -> Floats:
    made = estimated(fleet, truth, truth.found_thought, truth.false_call_thought)
    return chance_by(made, fleet.of_lives(lives), truth.last_years[lives] + HORIZON_YEARS)


def _by_plain(fleet: Fleet, lives: Ints, age: Floats, row_count: int) -> Floats:
    """Return 1 - S(age + 1) / S(last clear look) by each class's plain Weibull; the middle one where it has none."""
    intervals = plain_intervals(fleet, row_count)
    chance, last_clear = np.full(len(lives), np.nan), intervals[1][lives]
    for k, made in enumerate(plain_estimates(fleet, intervals)):
        if made is not None:
            here = fleet.class_index[lives] == k
            later, clear = ((at / made.scale) ** made.shape for at in (age[here] + HORIZON_YEARS, last_clear[here]))
            chance[here] = -np.expm1(clear - later)
    return np.where(np.isnan(chance), np.nanmedian(chance), chance)


def differences(trials: list[Tried], other: str) -> tuple[float, float, float]:
    """Return the mean difference of the first tenth's share to another order, and its 90 % interval over fleets.

    Student's t over fleets, which are independent.
    """
    from scipy.stats import t

    apart = np.array([one.shares[ESTIMATE] - one.shares[other] for one in trials])
    half = t.ppf(0.95, len(apart) - 1) * apart.std(ddof=1) / np.sqrt(len(apart)) if len(apart) > 1 else np.nan
    return float(apart.mean()), float(apart.mean() - half), float(apart.mean() + half)


def markdown(found: dict[str, list[Tried]], boats: int) -> str:
    """Return the table: a row a generator and order."""
    lines = [
        f"| {boats} boats, fleets by | order | share of cracks in its first tenth | this estimate's, more (90 %) |",
        "| --- | --- | --- | --- |",
    ]
    for name, trials in found.items():
        for order in trials[0].shares:
            share = np.mean([one.shares[order] for one in trials])
            mean, low, high = differences(trials, order)
            beside = "-" if order == ESTIMATE else f"{mean:.3f} ({low:.3f} to {high:.3f})"
            lines.append(f"| {name} ({len(trials)}) | {order} | {share:.3f} | {beside} |")
    return "\n".join([*lines, "", *(_line(name, trials) for name, trials in found.items())])


def _line(name: str, trials: list[Tried]) -> str:
    slope, intercept, ratio = (
        np.array([getattr(one, part) for one in trials]) for part in ("slope", "intercept", "expected_over_cracked")
    )
    return (
        f"{name}: calibration slope {slope.mean():.3f} (fleets from {slope.min():.2f} to {slope.max():.2f}), "
        f"intercept {intercept.mean():.3f}, expected over cracked {ratio.mean():.3f}.  "
    )


def bench(fleets: int, boats: int, *, say: Callable[[str], object]) -> dict[str, list[Tried]]:
    """Try `fleets` fleets, shared out among the generators."""
    found: dict[str, list[Tried]] = {}
    for place, (name, simulate) in enumerate(GENERATORS.items()):
        count = fleets // 2 + (place < fleets % 2)
        found[name] = []
        for i in range(count):
            found[name].append(tried(simulate, FIRST_SEED + i, boats))
            say(f"{name}: fleet {i + 1} of {count}: {found[name][-1].shares}\n")
    return found


def main() -> None:
    """Read the command line and print."""
    parser = argparse.ArgumentParser(description="Share of cracks in the first tenth, beside the habits of the trade.")
    parser.add_argument("--fleets", type=int, default=20)
    parser.add_argument("--boats", type=int, default=600)
    asked = parser.parse_args()
    sys.stdout.write(markdown(bench(asked.fleets, asked.boats, say=sys.stderr.write), asked.boats) + "\n")


if __name__ == "__main__":
    main()
