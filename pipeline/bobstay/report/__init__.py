"""The pages: one for the fleet, one a boat, and one each for guidance, plan, evidence, records and method."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from bobstay.export import whole
from bobstay.report.answer import ages_in_words, answer_of
from bobstay.report.backtest import backtest_in_words
from bobstay.report.boats import boats_of
from bobstay.report.changes import changes_of
from bobstay.report.evidence import evidence_of
from bobstay.report.fleet import read_fleet
from bobstay.report.names import page_names
from bobstay.report.records import records_of
from bobstay.report.site import template_text, templates
from bobstay.report.unknowns import assumptions, unknowns
from bobstay.report.weeks import visits_of, weeks_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date

    import duckdb

    from bobstay.report.boats import Boat
    from bobstay.report.fleet import Fleet
    from bobstay.settings import Settings

__all__ = ["page_names", "write_pages"]

_TOP = 8  # rows of each list on the fleet page; every row is on its boat's page


def write_pages(
    con: duckdb.DuckDBPyConnection,
    out: Path,
    *,
    settings: Settings,
    as_of: date,
    say: Callable[[str], None],
) -> list[Path]:
    """Write all pages and their stylesheet under `out` from the tables in the store; return what was written.

    Raises UsageError where an earlier stage has not been run.
    """
    fleet = read_fleet(con, settings=settings, as_of=as_of)
    boats = boats_of(fleet)
    (out / "boats").mkdir(parents=True, exist_ok=True)
    written = [_written(out / "style.css", template_text("style.css"))]
    for name, text in _pages(fleet, boats):
        written.append(_written(out / name, text))
    say(f"wrote {len(written) - 1} pages")
    return written


def _pages(fleet: Fleet, boats: list[Boat]) -> Iterator[tuple[str, str]]:
    env = templates(fleet.wording, as_of=fleet.as_of)
    shared = {"fleet": fleet, "settings": fleet.settings, "as_of": fleet.as_of, "boats": boats}
    shared |= {"pages": {b.boat_id: b for b in boats}}
    for name, context in _fleet_pages(fleet, boats).items():
        template = env.get_template(f"{name}.html.j2")
        yield f"{name}.html", template.render(**shared, **context, root="", here=name)
    template = env.get_template("boat.html.j2")
    for place, boat in enumerate(boats, start=1):
        yield f"boats/{boat.page}.html", template.render(**shared, boat=boat, place=place, root="../", here="boat")


def _fleet_pages(fleet: Fleet, boats: list[Boat]) -> dict[str, dict[str, Any]]:
    from bobstay.charts import ages_chart

    visits = visits_of(boats)
    slots, weeks = weeks_of(fleet, visits)
    ages = ages_chart(fleet.tables["guidance"], fleet.wording)
    plan = {"visits": visits, "slots": slots, "weeks": weeks, "summary": next(iter(fleet.tables["plan_summary"]), None)}
    doubts = {"unknowns": unknowns(fleet, boats), "assumptions": assumptions(fleet)}
    return {
        "index": {
            "answer": answer_of(fleet, boats),
            "ages": ages,
            "ages_words": ages_in_words(fleet),
            "top": _TOP,
            **plan,
            **doubts,
        },
        "guidance": {"ages": ages},
        "plan": plan | {name: fleet.tables[name] for name in ("plan_curve", "deferred", "parts")},
        "changes": changes_of(fleet),
        "evidence": evidence_of(fleet),
        "backtest": {"backtest_words": backtest_in_words(fleet)},
        "records": records_of(fleet, boats),
        "method": doubts,
    }


def _written(path: Path, text: str) -> Path:
    with whole(path) as beside:
        beside.write_text(text, encoding="utf-8", newline="\n")
    return path
