"""After worksheets came back: the ranks worked out again, and before and after of each said at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from bobstay import run, store
from bobstay.show import records
from bobstay.tables import LOOK_OF_SHEET
from bobstay.told import CAUTION, Part, Told, each, percent

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pandas as pd

    from bobstay.ingest import IngestReport
    from bobstay.run import Job
    from bobstay.settings import Settings

_SHOWN = 25
_NEWEST = f"SELECT max(inspected_on_latest) FROM inspections WHERE starts_with(inspection_id, '{LOOK_OF_SHEET}')"


def ranked_again(
    taken: IngestReport, store_path: Path, *, out: Path, settings: Settings | None, say: Callable[[str], None]
) -> Told | None:
    """Work out the ranks anew where there are ranks and worksheets they do not know; return what moved, else None.

    Where no settings are given the as-of date moves on to the newest answer, so that it counts.
    """
    if not taken.worksheets and not taken.skipped:
        return None
    with run.job(store_path, out=out, settings=settings, say=say) as opened:
        before = run.standing(opened, taken)
        if before is None:
            return None
        job, notes = _in_time(opened, is_given=settings is not None)
        with store.at_once(job.con):
            run.estimate_stage(job, is_checked=False)
            run.rank_stage(job)
            run.rank_changes_stage(job, before)
        return _told(job, job.table("rank_changes"), notes, _set_aside(job, taken))


def _in_time(job: Job, *, is_given: bool) -> tuple[Job, tuple[str, ...]]:
    """Return the job on the day of the newest answer, or say that answers lie after the day that was given."""
    newest: date | None = store.value(job.con, _NEWEST)
    if newest is None or newest <= job.as_of:
        return job, ()
    if is_given:
        return job, (
            f"answers after {job.as_of.isoformat()} do not count: the settings say as_of = {job.as_of.isoformat()}",
        )
    moved = replace(job.settings, as_of=newest)
    run.remember(job.con, moved)
    return replace(job, settings=moved, as_of=newest), (
        f"as of {newest.isoformat()} now, the day of the newest answer (before: {job.as_of.isoformat()})",
    )


def _told(job: Job, changes: pd.DataFrame, notes: tuple[str, ...], aside: pd.DataFrame) -> Told:
    answered = changes[changes["is_answered"] & ~changes["why"].str.startswith("Not inspected")]
    idle = int(changes["is_answered"].sum()) - len(answered)
    moved = int((changes["rank_before"] != changes["rank_after"]).fillna(True).sum())
    lines = (
        *notes,
        f"{len(answered)} fittings answered, {idle} left as not inspected; {moved} of {len(changes)} ranks moved",
        "plan, pages and papers are still those of the last run: `bobstay plan`, `bobstay report`",
        *CAUTION,
    )
    parts = [Part("lines set aside", rows=aside)] if len(aside) else []
    parts += [Part("ranks before and after", lines), Part("the fittings answered", rows=_shown(answered))]
    others = changes[~changes["is_answered"]]
    parts.append(Part("others that moved most", rows=_shown(_most_moved(others))))
    return Told(tuple(parts), {"as_of": job.as_of.isoformat(), "notes": list(notes), "rank_changes": records(changes)})


def _set_aside(job: Job, taken: IngestReport) -> pd.DataFrame:
    """Return the lines of the worksheets that are not used, each with the way to mend it."""
    aside = job.table("set_aside")
    mine = aside[aside["file"].isin(taken.worksheets)]
    return mine[["file", "line", "reason", "hint"]]


def _most_moved(changes: pd.DataFrame) -> pd.DataFrame:
    """Return the rows whose chance moved most, by list and then the larger change."""
    by = (changes["chance_after"] - changes["chance_before"]).abs().fillna(0.0)
    order = by.sort_values(ascending=False, kind="stable").index
    return changes.loc[order[by[order] > 0]].head(10)


def _shown(changes: pd.DataFrame) -> pd.DataFrame:
    """Return what a terminal has room for."""
    rows = changes.head(_SHOWN)
    shown = rows[["boat_id", "fitting_id"]].copy()
    shown["before"] = [_place(r.list_before, r.rank_before, r.chance_before) for r in each(rows)]
    shown["after"] = [_place(r.list_after, r.rank_after, r.chance_after) for r in each(rows)]
    shown["do"] = [str(r.action_after or "-") for r in each(rows)]
    shown["why"] = rows["why"]
    return shown


def _place(name: object, rank: object, chance: float) -> str:
    if not isinstance(name, str):
        return "-"
    return f"{rank} {'on evidence' if name == 'evidence' else 'nobody looked'}, {percent(chance)}"
