"""Why a boat or a fitting stands where it stands: the rows, the numbers, the assumptions, what would change it."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.errors import UsageError
from bobstay.explain.classes import explain_class
from bobstay.explain.numbers import traced
from bobstay.explain.what_if import what_ifs
from bobstay.show import records
from bobstay.told import CAUTION, Part, Told, each, percent

if TYPE_CHECKING:
    from bobstay.explain.numbers import Ways
    from bobstay.run import Job

__all__ = ["explain_boat", "explain_class", "explain_fitting", "find_boat"]

Row = Any  # one row of a frame: pandas cannot promise the kinds of its cells

BOAT_COLUMNS = ["list", "rank", "fitting_id", "fitting_type", "material", "age_years", "chance", "action", "method"]


def find_boat(job: Job, word: str) -> Row:
    """Return the boat whose id or name is `word`; raises UsageError with the nearest names."""
    boats = job.given("boats")
    hit = boats[boats["boat_id"] == word]
    if hit.empty:
        hit = boats[boats["boat_name"].fillna("").str.casefold() == word.casefold()]
    if len(hit) == 1:
        return hit.iloc[0]
    known = [*boats["boat_id"], *boats["boat_name"].dropna()]
    near = difflib.get_close_matches(word, known, n=3, cutoff=0.5)
    raise UsageError(
        f"{'several boats are' if len(hit) else 'no boat is'} called {word}",
        where=f"BOAT {word}",
        remedy=f"did you mean {' or '.join(near)}?" if near else "`bobstay status` says what the store holds",
    )


def explain_boat(job: Job, word: str) -> Told:
    """Explain a boat: her fittings in the order of their lists, each with its reason; shape of the answer: Told."""
    boat = find_boat(job, word)
    mine = job.table("priority").query("boat_id == @boat.boat_id").sort_values(["list", "rank"])
    coverage = job.table("coverage").query("boat_id == @boat.boat_id")
    visits = job.table("haul_plan").query("boat_id == @boat.boat_id")
    parts = (
        Part(_name(boat), (f"as of {job.as_of.isoformat()}; {len(mine)} fittings in service", *CAUTION)),
        Part("fittings, first to be looked at first", rows=_shown(mine)),
        Part("why", tuple(f"{row.fitting_id}: {row.reason}" for row in each(mine))),
        Part("what has been looked at", rows=coverage.drop(columns="boat_id")),
        Part("planned", () if len(visits) else ("no visit is planned",), visits.drop(columns=["boat_id", "boat_name"])),
    )
    content = {"boat": records(boat.to_frame().T)[0], "fittings": records(mine), "coverage": records(coverage)}
    return Told(parts, content | {"visits": records(visits), "as_of": job.as_of.isoformat()})


def _name(boat: Row) -> str:
    return str(boat["boat_id"]) if pd.isna(boat["boat_name"]) else f"{boat['boat_name']} ({boat['boat_id']})"


def _shown(rows: pd.DataFrame) -> pd.DataFrame:
    shown = rows[BOAT_COLUMNS].copy()
    shown["age_years"] = rows["age_years"].map("{:.1f}".format)
    shown["chance"] = [_with_interval(r.chance, r.chance_lower, r.chance_upper) for r in each(rows)]
    return shown


def _with_interval(value: float, lower: float, upper: float) -> str:
    if pd.isna(value):
        return "no estimate"
    return f"{percent(value)} ({percent(lower)} to {percent(upper)})"


def explain_fitting(job: Job, word: str, fitting: str) -> Told:
    """Explain one fitting: its rows, its numbers, what was assumed, and what would change it."""
    boat = find_boat(job, word)
    row, life = _place(job, boat, fitting)
    looks = job.table("life_looks").query("life_id == @life.life_id")
    own = job.table("classes").query("fitting_type == @life.fitting_type and material == @life.material")
    numbers, ways = traced(job, row, life, looks.sort_values(["look_on", "file", "line"]))
    asked = what_ifs(job, life, row)
    parts = (
        Part(f"{_name(boat)}, {fitting}", (str(row["reason"]), *CAUTION)),
        Part("where it stands", _standing(row)),
        Part("its life", _life_lines(life)),
        Part(
            "the looks behind it", () if len(looks) else ("nobody's look at this part is on record",), _look_rows(looks)
        ),
        Part("its class", tuple(own["model"]), own.drop(columns=["fitting_type", "material", "model"]).T.reset_index()),
        Part("where each number comes from", tuple(n.line() for n in numbers)),
        Part("the ways weighed, expected cost in units", rows=_way_rows(ways)),
        Part("what each factor does to the chance", asked.factors),
        Part("what would change it", asked.changes),
        Part("which assumption matters most", asked.assumptions),
        Part("assumed", _assumed(job, looks)),
    )
    content: dict[str, Any] = {"priority": records(row.to_frame().T)[0], "life": records(life.to_frame().T)[0]}
    content |= {"looks": records(looks), "class": records(own)[0] if len(own) else None}
    content |= {"numbers": [n.record() for n in numbers], "ways": records(_way_rows(ways))}
    content |= {"factors": list(asked.factors), "changes": list(asked.changes), "chances_if": asked.chances}
    content |= {"assumptions": list(asked.assumptions)}
    return Told(parts, content | {"assumed": list(_assumed(job, looks)), "as_of": job.as_of.isoformat()})


def _way_rows(ways: Ways) -> pd.DataFrame:
    frame = pd.DataFrame({"way": ways.names, "expected_cost": ways.costs})
    return frame.dropna().sort_values(["expected_cost", "way"], kind="stable", ignore_index=True)


def _place(job: Job, boat: Row, fitting: str) -> tuple[Row, Row]:
    mine = job.table("priority").query("boat_id == @boat.boat_id")
    hit = mine[mine["fitting_id"] == fitting]
    if hit.empty:
        near = difflib.get_close_matches(fitting, list(mine["fitting_id"]), n=3, cutoff=0.4)
        raise UsageError(
            f"{_name(boat)} has no fitting {fitting} in service",
            where=f"FITTING {fitting}",
            remedy=f"did you mean {' or '.join(near)}?" if near else f"`bobstay explain {boat['boat_id']}` lists them",
        )
    lives = job.table("lives")
    return hit.iloc[0], lives[lives["life_id"] == hit.iloc[0]["life_id"]].iloc[0]


def _standing(row: Row) -> tuple[str, ...]:
    return (
        f"list {row['list']}, place {row['rank']} (could be {row['rank_lower']} to {row['rank_upper']}), "
        f"tie group {row['tie_group']}",
        f"chance of an indication-worthy crack by the end of the horizon: "
        f"{_with_interval(row['chance'], row['chance_lower'], row['chance_upper'])}",
        f"consequence class {row['consequence']}, expected loss {row['expected_loss']:.3g} cost units",
        f"proposed: {row['action']}" + ("" if pd.isna(row["method"]) else f" by {row['method']}, {row['scope']}"),
        *(() if pd.isna(row["margin"]) else (_next_best(row),)),
        *(() if pd.isna(row["due_on"]) else (_when_due(row),)),
        *(("drawn by lot this season from the low places",) if row["draw"] else ()),
    )


def _next_best(row: Row) -> str:
    how = "" if pd.isna(row["runner_up_method"]) else f" by {row['runner_up_method']}"
    return f"next best: {row['runner_up']}{how}, {row['margin']:.3g} cost units dearer"


def _when_due(row: Row) -> str:
    day = f"{row['due_on']:%Y-%m-%d}"
    return f"due: {row['due_action']} on {day} by {row['due_by']} ({row['due_years']:.3g} years)"


def _life_lines(life: Row) -> tuple[str, ...]:
    lines = [
        f"{life['fitting_type']}, {life['material']}; in since {life['installed_on']:%Y-%m-%d} "
        f"({life['age_basis']}), {life['age_years']:.1f} years",
        f"under observation from {_years(life['entry_years'])}; last found clear at {_years(life['lower_years'])}; "
        f"first indication at {_years(life['upper_years'])}",
        f"{life['look_count']} looks, {life['valid_look_count']} of them count, {life['indication_count']} indications",
    ]
    if not pd.isna(life["left_out"]):
        lines.append(f"the plain estimate leaves it out: {life['left_out']}")
    if not pd.isna(life["voided_by"]):
        lines.append(f"earlier clear looks no longer count for ranking: {life['voided_by']}")
    return tuple(lines)


def _years(value: float) -> str:
    if pd.isna(value):
        return "never"
    return "none yet" if value == float("inf") else f"{value:.2f} years"


def _look_rows(looks: pd.DataFrame) -> pd.DataFrame:
    rows = looks.sort_values(["look_on", "file", "line"]).copy()
    rows["look_on"] = rows["look_on"].dt.strftime("%Y-%m-%d")
    rows["row"] = rows["file"] + ":" + rows["line"].astype(str)
    return rows[["look_on", "method", "scope", "shows", "verdict", "grade", "grade_reason", "row"]]


def _assumed(job: Job, looks: pd.DataFrame) -> tuple[str, ...]:
    rates = job.table("detection").merge(looks[["method", "scope"]].drop_duplicates(), on=["method", "scope"])
    shown = [
        f"{r.method}, {r.scope}: shows a crack that is there {percent(r.found)} of the time, one that is not "
        f"{percent(r.false_call)} ({r.basis})"
        for r in each(rates)
    ]
    return (
        *shown,
        f"consequence classes, their cost units, and the horizon of {job.settings.horizon_months} months are settings",
        "how fast a crack grows from visible to broken is not in any record: it is assumed",
    )
