"""The whole job in its order: take in, work out lives, estimate, rank, guide, plan, watch, write.

Stages know nothing of each other: each takes tables and returns tables; these files alone say who hands what to whom.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay import store
from bobstay.run.job import DONE, TOO_LITTLE_EVIDENCE, Job, job, remember, remembered
from bobstay.run.looking_back import backtest_if_small, backtest_stage
from bobstay.run.stages import (
    checks_stage,
    estimate_now,
    estimate_stage,
    lives_now,
    plan_stage,
    rank_changes_stage,
    rank_now,
    rank_stage,
    report_stage,
    shortcuts_stage,
    standing,
)
from bobstay.run.taking import take_in

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from bobstay.ingest import Confirmation
    from bobstay.settings import Settings

__all__ = [
    "DONE",
    "NEEDED",
    "TOO_LITTLE_EVIDENCE",
    "Job",
    "backtest_stage",
    "checks_stage",
    "estimate_now",
    "estimate_stage",
    "job",
    "lives_now",
    "plan_stage",
    "rank_changes_stage",
    "rank_now",
    "rank_stage",
    "remember",
    "remembered",
    "report_stage",
    "shortcuts_stage",
    "standing",
    "take_in",
    "whole_job",
]

NEEDED = ("boats", "fittings", "inspections")  # without a row in each there is nothing to work out


def whole_job(  # the options of `bobstay run`, one for one
    paths: Sequence[Path],
    *,
    out: Path,
    store_path: Path,
    settings: Settings,
    table: str | None = None,
    dates: str | None = None,
    mappings: Sequence[Path] = (),
    confirmed: Confirmation | None = None,
    say: Callable[[str], None],
) -> int:
    """Do the whole job on `paths`; return the exit code (0, or 4 where no class has an estimate)."""
    taken = take_in(
        paths,
        store_path=store_path,
        settings=settings,
        table=table,
        dates=dates,
        mappings=mappings,
        confirmed=confirmed,
        needed=NEEDED,
        say=say,
    )
    with job(store_path, out=out, settings=settings, say=say) as opened:
        before = standing(opened, taken)
        with store.at_once(opened.con):
            code = estimate_stage(opened)
            rank_stage(opened)
            if before is not None:
                rank_changes_stage(opened, before)
            plan_stage(opened)
            backtest_if_small(opened)
        report_stage(opened)
    return code
