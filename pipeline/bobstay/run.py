"""The whole job in its order: take in, work out lives, estimate, rank, guide, plan, watch, write.

Stages know nothing of each other: each takes tables and returns tables, and only this file says who hands what to whom.
"""

from __future__ import annotations

import json
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from bobstay import settings as settings_file
from bobstay import store
from bobstay.errors import UsageError
from bobstay.settings import Settings
from bobstay.tables import (
    ALERTS,
    BACKTEST,
    BACKTEST_METHODS,
    BACKTEST_THIRDS,
    BACKTEST_VERDICT,
    CHANCES,
    CLASS_DRAWS,
    CLASSES,
    CLEAR_LOOKS,
    DETECTION,
    FAMILIES,
    FIT_CHECKS,
    GUIDANCE,
    HAUL_PLAN,
    NONPARAMETRIC,
    NOTICE_STATUS,
    PLAN_SUMMARY,
    PRIORITY,
    RANK_CHANGES,
    SCHEDULED_LOOKS,
    SHORTCUTS,
    USE_CLOCK,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    import duckdb
    import pandas as pd

    from bobstay.backtest import Origin, Season
    from bobstay.ingest import Confirmation, IngestReport

DONE, TOO_LITTLE_EVIDENCE = 0, 4
NEEDED = ("boats", "fittings", "inspections")  # without a row in each there is nothing to work out


@dataclass(frozen=True, slots=True)
class Job:
    """One open store with the settings and the as-of date in force, and where results go."""

    con: duckdb.DuckDBPyConnection
    out: Path
    settings: Settings
    as_of: date
    say: Callable[[str], None]

    def table(self, name: str) -> pd.DataFrame:
        """Read an output table that an earlier stage has written."""
        return store.read(self.con, name)

    def given(self, name: str) -> pd.DataFrame:
        """Read an input table as taken in, in the order of its files."""
        return self.con.execute(f'SELECT * FROM "{name}" ORDER BY file_id, line').df()


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
        before = store.read(opened.con, "priority") if taken.worksheets and store.has(opened.con, "priority") else None
        with store.at_once(opened.con):
            code = estimate_stage(opened)
            rank_stage(opened)
            if before is not None:
                rank_changes_stage(opened, before, taken)
            plan_stage(opened)
            _backtest_if_small(opened)
        report_stage(opened)
    return code


def take_in(
    paths: Sequence[Path],
    *,
    store_path: Path,
    settings: Settings | None,
    table: str | None = None,
    dates: str | None = None,
    mappings: Sequence[Path] = (),
    confirmed: Confirmation | None = None,
    needed: Sequence[str] = (),
    say: Callable[[str], None],
) -> IngestReport:
    """Take files into the store in one transaction and remember the settings; nothing is stored on an error.

    Without `settings` those remembered stay in force. The store must end with a usable row in each table `needed`, and
    of boats, fittings and looks that a file was for.
    """
    from bobstay.ingest import ingest
    from bobstay.mapping import load

    how = [load(path) for path in mappings]
    missing = [str(p) for p in paths if not p.exists()]
    if missing:
        raise UsageError("a file is not there", where=", ".join(missing), remedy="check the names; nothing was stored")
    folders = sorted({p.resolve() if p.is_dir() else p.resolve().parent for p in paths})
    limit = max(date.today(), (settings.as_of if settings else None) or date.min)
    with store.kept_only_if_done(store_path), store.opened(store_path, folders=folders, create=True) as con:
        taken = ingest(
            con,
            paths,
            limit=limit,
            table=table,
            dates=dates,
            mappings=how,
            confirmed=confirmed,
            needed=needed,
            say=say,
        )
        if settings is not None:
            remember(con, settings)
    return taken


@contextmanager
def job(
    store_path: Path, *, out: Path, settings: Settings | None, say: Callable[[str], None], to_read: bool = False
) -> Iterator[Job]:
    """Open the store for stages, or `to_read` alone; without `settings` those of the last run are in force."""
    from bobstay.lives import newest_day

    with store.opened(store_path, to_read=to_read) as con:
        if not store.has(con, "boats"):
            raise UsageError(
                "the store holds no boats yet", where=str(store_path), remedy="run `bobstay ingest FILE...`"
            )
        settings = settings or remembered(con)
        if not to_read:
            out.mkdir(parents=True, exist_ok=True)
        yield Job(con, out, settings, settings.as_of or newest_day(con), say)


def estimate_stage(job: Job, *, is_checked: bool = True) -> int:
    """Work out lives, estimate and check the estimate; return 4 where no class of fittings has an estimate, else 0.

    To be called within `store.at_once`, so that a store never holds new lives beside old estimates.
    """
    from bobstay.estimate import estimate
    from bobstay.lives import build_within

    job.say("working out lives")
    build_within(job.con, as_of=job.as_of, settings=job.settings)
    job.say("estimating")
    made = estimate(
        job.table("lives"), job.table("life_looks"), job.given("boats"), as_of=job.as_of, settings=job.settings
    )
    store.write(job.con, CLASSES, made.classes)
    store.write(job.con, DETECTION, made.detection)
    store.write(job.con, NONPARAMETRIC, made.nonparametric)
    store.write(job.con, CHANCES, made.chances)
    store.write(job.con, CLASS_DRAWS, made.class_draws)
    if is_checked:
        checks_stage(job, made.findings)
    return DONE if made.classes["b10_years"].notna().any() else TOO_LITTLE_EVIDENCE


def checks_stage(job: Job, findings: pd.DataFrame | None) -> None:
    """Check the estimate against shortcuts, scheduled looks alone, other families, bends, water and the use clock.

    `findings` is what the estimate says of its own predictions.
    """
    from bobstay.checks import clock_table, families_table, fits_table

    job.say("checking the estimate")
    lives, boats = job.table("lives"), job.given("boats")
    shortcuts_stage(job)
    store.write(job.con, SCHEDULED_LOOKS, _scheduled(job))
    store.write(job.con, FAMILIES, families_table(lives, settings=job.settings))
    store.write(job.con, FIT_CHECKS, fits_table(lives, boats, job.table("classes"), findings, settings=job.settings))
    store.write(job.con, USE_CLOCK, clock_table(lives, boats, settings=job.settings))


def shortcuts_stage(job: Job) -> None:
    """Say what the usual shortcuts would have claimed on the same records."""
    from bobstay.checks import shortcuts_table

    whole_boat = job.con.sql(_WHOLE_BOAT_CLEAR).df()
    lives, looks, classes, draws = (job.table(name) for name in ("lives", "life_looks", "classes", "class_draws"))
    made = shortcuts_table(lives, looks, classes, draws, whole_boat=whole_boat, settings=job.settings)
    store.write(job.con, SHORTCUTS, made)


_WHOLE_BOAT_CLEAR = """SELECT boat_id, inspected_on_earliest AS look_on FROM inspections
    WHERE fitting_id IS NULL AND result = 'no_indication' ORDER BY file_id, line"""
_DRAWS_OF_A_CHECK = 400  # enough for the interval of an age that is only set beside another


def _scheduled(job: Job) -> pd.DataFrame:
    """Estimate once more on scheduled looks alone and set both side by side."""
    from bobstay.checks import on_scheduled_looks, scheduled_table
    from bobstay.estimate import estimate

    lives, looks = job.table("lives"), job.table("life_looks")
    how = job.settings.estimate
    lean = replace(job.settings, estimate=replace(how, draws=min(how.draws, _DRAWS_OF_A_CHECK)))
    made = estimate(*on_scheduled_looks(lives, looks), job.given("boats"), as_of=job.as_of, settings=lean)
    return scheduled_table(job.table("classes"), made.classes, lives, looks)


def rank_stage(job: Job) -> None:
    """Rank the fittings in service, set the guidance of each class, and raise alerts."""
    from bobstay.alerts import notice_status, watch
    from bobstay.changes import keep_last, note, this_run
    from bobstay.guidance import guide
    from bobstay.rank import clear_looks, rank
    from bobstay.rank_changes import nothing_moved

    job.say("ranking")
    lives, looks, classes, boats = job.table("lives"), job.table("life_looks"), job.table("classes"), job.given("boats")
    guidance = guide(
        classes,
        job.table("class_draws"),
        lives,
        settings=job.settings,
        rules=_optional(job, "rules"),
        detection=job.table("detection"),
    )
    store.write(job.con, GUIDANCE, _with_warning(job, guidance))
    told = notice_status(_with_file(job, "notices"), lives, looks, _with_file(job, "fittings"))
    store.write(job.con, NOTICE_STATUS, told)
    priority = rank(
        lives,
        job.table("chances"),
        boats=boats,
        looks=looks,
        settings=job.settings,
        as_of=job.as_of,
        detection=job.table("detection"),
        guidance=guidance,
        notices=told,
    )
    run = this_run(job.con, job.settings, job.as_of)
    keep_last(job.con, run)
    store.write(job.con, PRIORITY, priority)
    if not store.has(job.con, RANK_CHANGES.name):
        store.write(job.con, RANK_CHANGES, nothing_moved())
    note(job.con, run)
    store.write(job.con, CLEAR_LOOKS, clear_looks(priority, lives, looks, settings=job.settings, as_of=job.as_of))
    orphans = job.con.sql("SELECT * FROM orphan_looks ORDER BY file_id, line").df()
    raised = watch(
        lives,
        looks,
        classes,
        boats=boats,
        settings=job.settings,
        as_of=job.as_of,
        orphans=orphans,
        notices=told,
        detection=job.table("detection"),
        class_draws=job.table("class_draws"),
    )
    store.write(job.con, ALERTS, raised)


def _optional(job: Job, name: str) -> pd.DataFrame | None:
    """Read an input table that a store of before may lack."""
    return job.given(name) if store.has(job.con, name) else None


def _with_file(job: Job, name: str) -> pd.DataFrame:
    """Read an input table with the name of the file each row came from; empty where a store of before lacks it."""
    if not store.has(job.con, name):
        return pd.DataFrame()
    sql = f"""SELECT t.*, f.file || CASE WHEN f.part = '-' THEN '' ELSE ' [' || f.part || ']' END AS file
        FROM "{name}" AS t LEFT JOIN files AS f ON f.file_id = t.file_id ORDER BY t.file_id, t.line"""
    return job.con.execute(sql).df()


def rank_changes_stage(job: Job, before: pd.DataFrame, taken: IngestReport) -> None:
    """Say what the worksheets just taken in did to each rank; `before` is the priority list as it was."""
    from bobstay.rank_changes import answers_of, compared

    answers = answers_of(job.con, [(f.file, f.part) for f in taken.files])
    store.write(job.con, RANK_CHANGES, compared(before, job.table("priority"), answers))


def _with_warning(job: Job, guidance: pd.DataFrame) -> pd.DataFrame:
    """Say in the guidance where scheduled looks alone give the earlier age, if that was checked."""
    from bobstay.checks import with_warning

    if not store.has(job.con, "scheduled_looks"):
        return guidance
    return with_warning(guidance, job.table("scheduled_looks"))


# The prices as taken in, a type spelled as the lives show it.
_PRICES = """SELECT p.* REPLACE (coalesce(w.shown_as, p.fitting_type) AS fitting_type) FROM prices AS p
    LEFT JOIN words_merged AS w ON w."column" = 'fitting_type' AND w.word = p.fitting_type ORDER BY p.file_id, p.line"""


def plan_stage(job: Job) -> None:
    """Put boats into yard slots."""
    from bobstay.plan import plan

    job.say("planning")
    made = plan(
        job.table("priority"),
        boats=job.given("boats"),
        slots=job.given("slots"),
        availability=job.given("availability"),
        prices=job.con.sql(_PRICES).df(),
        lives=job.table("lives"),
        settings=job.settings,
        as_of=job.as_of,
    )
    store.write(job.con, HAUL_PLAN, made.haul_plan)
    store.write(job.con, PLAN_SUMMARY, made.plan_summary)


def backtest_stage(job: Job) -> int:
    """Look back from earlier years; return 4 where no year can be scored."""
    from bobstay import backtest

    how = job.settings.backtest
    first = store.value(job.con, "SELECT min(inspected_on_earliest) FROM inspections")
    days = backtest.origins(job.as_of, first_look=first or job.as_of, count=how.origins)
    looks = job.table("life_looks")
    seasons = []
    for day in days:
        job.say(f"looking back from {day.isoformat()}")
        seasons.append(_season(job, day, looks))
    made = backtest.table([backtest.score(season) for season in seasons])
    cover, seed = job.settings.estimate.interval, job.settings.estimate.seed
    store.write(job.con, BACKTEST, made)
    store.write(job.con, BACKTEST_VERDICT, backtest.verdicts(seasons, cover=cover, seed=seed))
    store.write(job.con, BACKTEST_METHODS, backtest.by_method(seasons))
    store.write(job.con, BACKTEST_THIRDS, backtest.thirds(seasons, cover=cover))
    return DONE if made["concordance"].notna().any() else TOO_LITTLE_EVIDENCE


def _backtest_if_small(job: Job) -> None:
    """Do the back-test with the whole job, unless the records are so many that it would be the most of the work."""
    looks = store.value(job.con, "SELECT count(*) FROM life_looks")
    if looks <= job.settings.backtest.most_looks:
        backtest_stage(job)
    elif job.settings.backtest.origins:
        job.say("the back-test is left to `bobstay backtest`: there are many looks")


def _season(job: Job, day: date, looks: pd.DataFrame) -> Season:
    from bobstay import backtest

    if not backtest.is_worth_scoring(day, looks):
        return backtest.season_not_scored(day, looks)
    return backtest.season_after(_known_on(job, day), looks, every_years=job.settings.backtest.every_years)


def _known_on(job: Job, day: date) -> Origin:
    """Return what was known on `day`; the lives of that day are worked out aside and not kept."""
    from bobstay.backtest import Origin
    from bobstay.estimate import estimate
    from bobstay.lives import lives_then

    lives, looks = lives_then(job.con, as_of=day, settings=job.settings)
    how = replace(job.settings.estimate, draws=min(job.settings.estimate.draws, _DRAWS_OF_A_CHECK))
    lean = replace(job.settings, horizon_months=12, estimate=how)
    plain = replace(lean, estimate=replace(how, detection="perfect", pooling="none", boat_effect=False))
    boats = job.given("boats")
    made, without = (estimate(lives, looks, boats, as_of=day, settings=by) for by in (lean, plain))
    return Origin(day, lives, looks, made.chances, made.detection, without.chances)


def report_stage(job: Job) -> list[Path]:
    """Write tables, pages, papers and the manifest; return what was written."""
    from bobstay.export import write_manifest, write_tables
    from bobstay.papers import list_lines, write_papers
    from bobstay.report import write_pages

    job.say("writing tables, pages and papers")
    list_lines(job.con, as_of=job.as_of)
    written = write_tables(job.con, job.out)
    written += write_pages(job.con, job.out, settings=job.settings, as_of=job.as_of, say=job.say)
    written += write_papers(job.con, job.out, settings=job.settings, as_of=job.as_of, say=job.say)
    manifest = write_manifest(job.con, job.out, settings=job.settings, as_of=job.as_of, written=written)
    return [*written, manifest]


def remember(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Keep the settings in the store, so that a later stage or question works with the same ones."""
    con.execute("CREATE TABLE IF NOT EXISTS remembered (key VARCHAR PRIMARY KEY, value VARCHAR)")
    con.execute(
        "INSERT OR REPLACE INTO remembered VALUES ('settings', $value)",
        {"value": json.dumps(settings_file.tree(settings))},
    )


def remembered(con: duckdb.DuckDBPyConnection) -> Settings:
    """Return the settings kept in the store, or the defaults."""
    if not store.has(con, "remembered"):
        return Settings()
    kept = store.value(con, "SELECT value FROM remembered WHERE key = 'settings'")
    return settings_file.from_tree(json.loads(kept), source="store") if kept else Settings()
