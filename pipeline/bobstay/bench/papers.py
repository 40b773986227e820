"""How long pages and papers of many boats take: `python -m bobstay.bench.papers [--boats 125,250,500]`.

The boats of the demo, each with its fittings and looks, as often as it needs under other ids; 26 weeks in the yard. The
estimate is the plain one, which leaves pages and papers as they are. Each fleet is done in a process of its own;
seconds run from the store with its plan to what is written. Growth is the slope of ln seconds on ln boats.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from itertools import count, islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from bobstay.bench.measuring import growth, in_a_process, timed, with_plain_estimate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from bobstay.run import Job
    from bobstay.settings import Settings

WEEKS = 26
FIRST_WEEK = date(2026, 11, 2)
PAGES_BOUND_S, PAPERS_BOUND_S, FLEET_PAGE_BOUND_KB = 30, 60, 600  # what is asked of 500 boats on two quiet cores
DRAWS = 200


@dataclass(frozen=True, slots=True)
class Written:
    """What one fleet took: seconds by the clock and of the processor, and bytes of the fleet page."""

    boats: int
    fittings: int
    pages_seconds: float
    pages_processor: float
    papers_seconds: float
    papers_processor: float
    fleet_page_bytes: int


def fleet_files(folder: Path, boats: int) -> list[Path]:
    """Write the files of a fleet of so many boats: the demo's boats again and again, under other ids."""
    from bobstay.data_demo.generate_boats import boats as demo_boats
    from bobstay.data_demo.generate_files import columns_of, write_csv
    from bobstay.data_demo.generate_history import history
    from bobstay.data_demo.generate_rows import OWNER_FILES, boat_row, fitting_rows, inspection_rows

    fleet = [boat for boat in demo_boats() if boat.left is None]
    pasts = [history(boat) for boat in fleet]
    rows = {"boats": [boat_row(boat) for boat in fleet], "fittings": [r for past in pasts for r in fitting_rows(past)]}
    rows |= {name: inspection_rows(pasts, owner) for owner, name in OWNER_FILES.items()}
    kept = set(islice(_ids([boat.boat_id for boat in fleet]), boats))
    files = []
    for name, own in rows.items():
        copied = list(_copied(own, kept, copies=-(-boats // len(fleet))))
        files += [folder / f"{name}.csv"] if copied else []
        write_csv(folder / f"{name}.csv", columns_of(name), copied)
    return [*files, _slots(folder, boats)]


def _ids(names: Sequence[str]) -> Iterator[str]:
    for number in count():
        yield from (_again(name, number) for name in names)


def _again(name: str, number: int) -> str:
    return f"{name}-{number}" if number else name


def _copied(rows: Sequence[Mapping[str, object]], kept: set[str], *, copies: int) -> Iterator[dict[str, object]]:
    for number in range(copies):
        for row in rows:
            boat_id = _again(str(row["boat_id"]), number)
            if boat_id in kept:
                own = {k: _again(str(row[k]), number) for k in ("inspection_id", "boat_name") if row.get(k)}
                yield {**row, **own, "boat_id": boat_id}


def _slots(folder: Path, boats: int) -> Path:
    rows = [
        f"W{n:02d},{FIRST_WEEK + timedelta(weeks=n)},{-(-boats // WEEKS)},,hauled;mast_out;keel_off"
        for n in range(WEEKS)
    ]
    path = folder / "slots.csv"
    path.write_text("\n".join(("slot_id,starts_on,boats_max,hours_max,access", *rows)) + "\n", encoding="utf-8")
    return path


def written(boats: int, *, say: Callable[[str], None]) -> Written:
    """Take a fleet of so many boats through the whole job and time its pages and its papers."""
    from bobstay import run, store

    with TemporaryDirectory(prefix="bobstay_papers_") as name:
        folder = Path(name)
        how, place = _settings(), folder / "b.duckdb"
        run.take_in(fleet_files(folder, boats), store_path=place, settings=how, say=lambda _: None)
        with run.job(place, out=folder / "out", settings=how, say=say) as job, store.at_once(job.con):
            run.estimate_stage(job, is_checked=False)
            run.rank_stage(job)
            run.checks_stage(job, None)
            run.plan_stage(job)
        with run.job(place, out=folder / "out", settings=how, say=say) as job:
            return _timed(job)


def _settings() -> Settings:
    from bobstay.settings import Settings

    plain = with_plain_estimate(Settings())
    few = replace(plain.estimate, draws=DRAWS)
    return replace(plain, estimate=few, backtest=replace(plain.backtest, origins=0))


def _timed(job: Job) -> Written:
    from bobstay.papers import list_lines, write_papers
    from bobstay.report import write_pages

    list_lines(job.con, as_of=job.as_of)
    with timed() as pages:
        write_pages(job.con, job.out, settings=job.settings, as_of=job.as_of, say=job.say)
    with timed() as papers:
        write_papers(job.con, job.out, settings=job.settings, as_of=job.as_of, say=job.say)
    boats = len(list((job.out / "boats").glob("*.html")))
    fittings = len(job.table("priority"))
    page = (job.out / "index.html").stat().st_size
    spent = (pages.seconds, pages.processor, papers.seconds, papers.processor)
    return Written(boats, fittings, *spent, fleet_page_bytes=page)


def table(found: Sequence[Written]) -> str:
    """Return what was measured as a table, with the growth where there are several fleets."""
    head = (
        "| boats | fittings | pages, s (processor) | papers, s (processor) | fleet page, kB |\n" + "| --- " * 5 + "|\n"
    )
    lines = [
        f"| {w.boats} | {w.fittings:,} | {w.pages_seconds:.1f} ({w.pages_processor:.1f}) | "
        f"{w.papers_seconds:.1f} ({w.papers_processor:.1f}) | {w.fleet_page_bytes / 1000:.0f} |\n"
        for w in found
    ]
    boats = [w.boats for w in found]
    pages, papers = ([getattr(w, f"{name}_processor") for w in found] for name in ("pages", "papers"))
    told = f"growth of processor seconds: pages {growth(boats, pages):.2f}, papers {growth(boats, papers):.2f}\n"
    asked = f"{PAGES_BOUND_S} s, {PAPERS_BOUND_S} s and {FLEET_PAGE_BOUND_KB} kB"
    return head + "".join(lines) + told + f"asked of 500 boats on two quiet cores: {asked}\n"


def main() -> None:
    """Measure each fleet in a process of its own and print the table; with --one measure one and print it as JSON."""
    parser = argparse.ArgumentParser(description="Time the pages and papers of many boats.")
    parser.add_argument("--boats", default="125,250,500")
    parser.add_argument("--one", type=int, help="one fleet only, as JSON")
    asked = parser.parse_args()
    if asked.one is not None:
        sys.stdout.write(json.dumps(asdict(written(asked.one, say=lambda text: print(text, file=sys.stderr)))))  # noqa: T201
        return
    sys.stdout.write(table([_in_a_process(int(boats)) for boats in asked.boats.split(",")]))


def _in_a_process(boats: int) -> Written:
    work = f"the fleet of {boats} boats"
    return Written(**in_a_process("bobstay.bench.papers", ["--one", str(boats)], work=work))


if __name__ == "__main__":
    main()
