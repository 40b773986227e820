"""How long plans take and how far they may be from the best: `python -m bobstay.bench.plan [--boats 50,500,5000]`.

Invented fleets over 26 weeks in which one thing, or everything, is scarce (`bobstay.bench.yards`). The gap is that of
`plan_summary.net_gap`: loss avoided net of what jobs and accesses cost, against a bound on every plan.
"""

from __future__ import annotations

import argparse
import sys
import time
from typing import TYPE_CHECKING

from bobstay.bench.yards import AS_OF, SCARCE, Instance, instance
from bobstay.plan import plan

if TYPE_CHECKING:
    from bobstay.plan import Plan

_HEAD = (
    "| boats | scarce | seconds | processor seconds | net of costs | bound | gap |\n"
    "| --- | --- | --- | --- | --- | --- | --- |\n"
)


def planned(made: Instance, *, with_curve: bool = False) -> Plan:
    """Return the plan of an instance."""
    return plan(
        made.priority,
        boats=made.boats,
        slots=made.slots,
        availability=made.availability,
        prices=made.prices,
        lives=made.priority,
        settings=made.settings,
        as_of=AS_OF,
        with_curve=with_curve,
    )


def bench(seed: int, boats: int, scarce: str) -> str:
    """Return one row of the table."""
    made = instance(seed, boats, scarce=scarce)
    clock, processor = time.perf_counter(), time.process_time()
    row = planned(made).plan_summary.iloc[0]
    took, worked = time.perf_counter() - clock, time.process_time() - processor
    return (
        f"| {boats:,} | {scarce} | {took:.1f} | {worked:.1f} | {row['net_avoided']:.0f} | {row['net_bound']:.0f} | "
        f"{100 * row['net_gap']:.2f} % |\n"
    )


def main() -> None:
    """Read the command line and print a row for each size and each thing that is scarce."""
    parser = argparse.ArgumentParser(description="Time plans of invented tight yards.")
    parser.add_argument("--boats", default="50,500,5000")
    parser.add_argument("--scarce", default=",".join(SCARCE))
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    sys.stdout.write(_HEAD)
    for boats in map(int, given.boats.split(",")):
        for scarce in given.scarce.split(","):
            sys.stdout.write(bench(given.seed, boats, scarce))
            sys.stdout.flush()


if __name__ == "__main__":
    main()
