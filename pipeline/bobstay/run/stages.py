"""The stages after the load, each from the tables in the store to the tables it leaves there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from bobstay import store
from bobstay.run.job import DONE, TOO_LITTLE_EVIDENCE, Job
from bobstay.sql_text import file_named
from bobstay.tables import (
    ALERTS,
    CHANCES,
    CLASS_DRAWS,
    CLASSES,
    CLEAR_LOOKS,
    DEFERRED,
    DETECTION,
    FAMILIES,
    FIT_CHECKS,
    GUIDANCE,
    HAUL_PLAN,
    NONPARAMETRIC,
    NOTICE_STATUS,
    PARTS,
    PLAN_CURVE,
    PLAN_SUMMARY,
    PRIORITY,
    RANK_CHANGES,
    SCHEDULED_LOOKS,
    SHORTCUTS,
    USE_CLOCK,
)

if TYPE_CHECKING:
    import pandas as pd

    from bobstay.estimate import Estimates
    from bobstay.ingest import IngestReport


def estimate_stage(job: Job, *, is_checked: bool = True) -> int:
    """Work out lives, estimate and check the estimate; return 4 where no class of fittings has an estimate, else 0.

    To be called within `store.at_once`, so that a store never holds new lives beside old estimates.
    """
    lives_now(job)
    made = estimate_now(job)
    if is_checked:
        checks_stage(job, made.findings)
    return DONE if made.classes["b10_years"].notna().any() else TOO_LITTLE_EVIDENCE


def lives_now(job: Job) -> None:
    """Work out lives and their looks as known on the as-of date."""
    from bobstay.lives import build_within

    job.say("working out lives")
    build_within(job.con, as_of=job.as_of, settings=job.settings)


# What of the looks is read where there are many of them.
LOOKED = ("life_id", "look_years", "look_on", "method", "scope", "result", "shows", "verdict", "trigger")
RANKED = ("life_id", "look_years", "look_on", "method", "scope", "shows", "verdict", "grade", "trigger", "file", "line")


def estimate_now(job: Job) -> Estimates:
    """Estimate from the lives in the store; what is returned stands in the store too, but for its findings."""
    from bobstay.estimate import counts_looks

    job.say("estimating")
    return _estimate_plainly(job) if counts_looks(job.settings) else _estimate_jointly(job)


def _estimate_jointly(job: Job) -> Estimates:
    from bobstay.estimate import estimate
    from bobstay.estimate.imperfect import LIVES_READ

    made = estimate(  # nothing here keeps the tables, which are let go when they have been used
        job.table("lives", LIVES_READ),
        job.table("life_looks", LOOKED),
        job.given("boats"),
        as_of=job.as_of,
        settings=job.settings,
    )
    _write_classes(job, made)
    store.write(job.con, CHANCES, made.chances)
    return made


LIVES_AT_ONCE = 200_000  # asked for their chance: some 200 MB as tables


def _estimate_plainly(job: Job) -> Estimates:
    """Estimate all classes, then ask some boats at a time for the chances of their lives; those are not returned."""
    from bobstay.estimate.plain import CLASS_COLUMNS, estimate_classes
    from bobstay.estimate.plain_chances import LIVES_READ, chances_table

    looks, how = job.con.sql(store.query("look_counts")).df(), job.settings
    made, curves = estimate_classes(job.table("lives", CLASS_COLUMNS), looks, settings=how)
    _write_classes(job, made)
    serving = store.value(job.con, "SELECT count(*) FROM lives WHERE is_in_service")
    pieces = (store.read(job.con, "lives", LIVES_READ, boats=b) for b in store.boats_at_once(job.con, LIVES_AT_ONCE))
    chances = (chances_table(lives, curves, how, serving_count=serving) for lives in pieces)
    store.write_parts(job.con, CHANCES, chances)
    return made


def _write_classes(job: Job, made: Estimates) -> None:
    store.write(job.con, CLASSES, made.classes)
    store.write(job.con, DETECTION, made.detection)
    store.write(job.con, NONPARAMETRIC, made.nonparametric)
    store.write(job.con, CLASS_DRAWS, made.class_draws)


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


DRAWS_OF_A_CHECK = 400  # enough for the interval of an age that is only set beside another


def _scheduled(job: Job) -> pd.DataFrame:
    """Estimate once more on scheduled looks alone and set both side by side."""
    from bobstay.checks import on_scheduled_looks, scheduled_table
    from bobstay.estimate import estimate

    lives, looks = job.table("lives"), job.table("life_looks")
    how = job.settings.estimate
    lean = replace(job.settings, estimate=replace(how, draws=min(how.draws, DRAWS_OF_A_CHECK)))
    made = estimate(*on_scheduled_looks(lives, looks), job.given("boats"), as_of=job.as_of, settings=lean)
    return scheduled_table(job.table("classes"), made.classes, lives, looks)


def rank_stage(job: Job) -> None:
    """Rank the fittings in service, set the guidance of each class, and raise alerts."""
    from bobstay.changes import keep_last, note, this_run
    from bobstay.rank_changes import nothing_moved

    run = this_run(job.con, job.settings, job.as_of)
    keep_last(job.con, run)
    rank_now(job)
    if not store.has(job.con, RANK_CHANGES.name):
        store.write(job.con, RANK_CHANGES, nothing_moved())
    note(job.con, run)
    _watch(job)


def rank_now(job: Job) -> None:
    """Set the guidance of each class, say which notices mean which parts, and rank the fittings in service."""
    from bobstay.guidance import STANDING_COLUMNS, guide
    from bobstay.run.ranking import rank_in_pieces

    job.say("ranking")
    guidance = guide(
        job.table("classes"),
        job.table("class_draws"),
        job.table("lives", STANDING_COLUMNS),
        settings=job.settings,
        rules=job.given("rules"),
        detection=job.table("detection"),
    )
    store.write(job.con, GUIDANCE, _with_warning(job, guidance))
    notices = _notice_status(job)
    store.write(job.con, NOTICE_STATUS, notices)
    rank_in_pieces(job, guidance=guidance, notices=notices)


def _notice_status(job: Job) -> pd.DataFrame:
    from bobstay.alerts import no_notices, notice_status

    notices = _with_file(job, "notices")
    if notices.empty:
        return no_notices()
    return notice_status(notices, job.table("lives"), job.table("life_looks", RANKED), _with_file(job, "fittings"))


def _watch(job: Job) -> None:
    """List the clear looks that count and raise alerts."""
    from bobstay.alerts import watch
    from bobstay.rank import clear_looks

    lives, looks, how = job.table("lives"), job.table("life_looks", RANKED), job.settings
    found = clear_looks(job.table("priority"), lives, looks, settings=how, as_of=job.as_of)
    store.write(job.con, CLEAR_LOOKS, found)
    raised = watch(
        lives,
        looks,
        job.table("classes"),
        boats=job.given("boats"),
        settings=how,
        as_of=job.as_of,
        orphans=job.con.sql("SELECT * FROM orphan_looks ORDER BY file_id, line").df(),
        notices=job.table("notice_status"),
        detection=job.table("detection"),
        class_draws=job.table("class_draws"),
    )
    store.write(job.con, ALERTS, raised)


def _with_file(job: Job, name: str) -> pd.DataFrame:
    """Read an input table with the name of the file each row came from."""
    sql = f"""SELECT t.*, {file_named("f")} AS file
        FROM "{name}" AS t LEFT JOIN files AS f ON f.file_id = t.file_id ORDER BY t.file_id, t.line"""
    return job.con.execute(sql).df()


@dataclass(frozen=True, slots=True)
class Standing:
    """The priority list before fittings are ranked anew, and the worksheets (file, part) that it does not know."""

    priority: pd.DataFrame
    sheets: list[tuple[str, str]]


def standing(job: Job, taken: IngestReport) -> Standing | None:
    """Return how fittings stand before the worksheets come back count; None without a ranking or such sheets.

    Sheets count until they are ranked by: a job may have been stopped after it took them in.
    """
    from bobstay.changes import last_run, named
    from bobstay.rank_changes import sheets_of

    if not store.has(job.con, PRIORITY.name):
        return None
    last = last_run(job.con)
    sheets = [sheet for sheet in sheets_of(job.con) if last is None or named(*sheet) not in last.files]
    return Standing(job.table("priority"), sheets) if sheets or taken.worksheets else None


def rank_changes_stage(job: Job, before: Standing) -> None:
    """Say what the worksheets come back did to each rank."""
    from bobstay.rank_changes import answers_of, compared

    answers = answers_of(job.con, before.sheets)
    store.write(job.con, RANK_CHANGES, compared(before.priority, job.table("priority"), answers))


def _with_warning(job: Job, guidance: pd.DataFrame) -> pd.DataFrame:
    """Say in the guidance where scheduled looks alone give the earlier age, if that was checked."""
    from bobstay.checks import with_warning

    if not store.has(job.con, "scheduled_looks"):
        return guidance
    return with_warning(guidance, job.table("scheduled_looks"))


# The prices as taken in, a type spelled as the lives show it.
_PRICES = """SELECT p.* REPLACE (coalesce(w.shown_as, p.fitting_type) AS fitting_type) FROM prices AS p
    LEFT JOIN words_merged AS w ON w."column" = 'fitting_type' AND w.word = p.fitting_type ORDER BY p.file_id, p.line"""


def plan_stage(job: Job, fix: Path | None = None) -> None:
    """Put boats into yard slots; the decisions in the file `fix` are kept."""
    from bobstay.plan import plan, read_decisions

    decisions = read_decisions(fix) if fix is not None else ()
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
        decisions=decisions,
    )
    store.write(job.con, HAUL_PLAN, made.haul_plan)
    store.write(job.con, PLAN_SUMMARY, made.plan_summary)
    store.write(job.con, PLAN_CURVE, made.plan_curve)
    store.write(job.con, DEFERRED, made.deferred)
    store.write(job.con, PARTS, made.parts)


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
