"""Why a boat or a fitting stands where it stands: the rows, the numbers, the assumptions, what would change it."""

from __future__ import annotations

import difflib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.errors import UsageError
from bobstay.show import records
from bobstay.told import CAUTION, Part, Told, each, percent

if TYPE_CHECKING:
    from bobstay.run import Job

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
    changes = _changes(job, life, row)
    parts = (
        Part(f"{_name(boat)}, {fitting}", (str(row["reason"]), *CAUTION)),
        Part("where it stands", _standing(row)),
        Part("its life", _life_lines(life)),
        Part(
            "the looks behind it", () if len(looks) else ("nobody's look at this part is on record",), _look_rows(looks)
        ),
        Part("its class", tuple(own["model"]), own.drop(columns=["fitting_type", "material", "model"]).T.reset_index()),
        Part("what would change it", changes),
        Part("assumed", _assumed(job, looks)),
    )
    content: dict[str, Any] = {"priority": records(row.to_frame().T)[0], "life": records(life.to_frame().T)[0]}
    content |= {"looks": records(looks), "class": records(own)[0] if len(own) else None, "changes": list(changes)}
    return Told(parts, content | {"assumed": list(_assumed(job, looks)), "as_of": job.as_of.isoformat()})


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
        f"proposed: {row['action']}" + ("" if pd.isna(row["method"]) else f" by {row['method']}"),
    )


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


def _changes(job: Job, life: Row, row: Row) -> tuple[str, ...]:
    """Say what the chance would be after a clear penetrant test now, after a season's wait, and of other materials."""
    if pd.isna(row["chance"]):
        return ("one look by a stated method, with its minima stated, would be the first evidence about it",)
    tested = _chance_if(job, life, tested=True)
    longer = replace(job.settings, horizon_months=job.settings.horizon_months + 12)
    waited = _chance_if(job, life, settings=longer)
    others = job.table("classes").query("fitting_type == @life.fitting_type and material != @life.material")
    return (
        f"one clear penetrant test, part taken off, minima stated, on {job.as_of.isoformat()}: "
        f"{percent(row['chance'])} becomes {percent(tested)}",
        f"a season's wait with no look: {percent(row['chance'])} becomes {percent(waited)}",
        *(
            f"{other.fitting_type} of {other.material}: one in ten by {other.b10_years:.1f} years "
            f"({other.b10_years_lower:.1f} to {other.b10_years_upper:.1f})"
            for other in each(others)
            if not pd.isna(other.b10_years)
        ),
    )


def _chance_if(job: Job, life: Row, *, tested: bool = False, settings: Any = None) -> float:
    """Estimate again with one thing changed and return this life's chance."""
    from bobstay.estimate import estimate

    lives, looks = job.table("lives"), job.table("life_looks")
    if tested:
        lives, looks = _with_clear_test(lives, looks, life, job)
    made = estimate(lives, looks, job.given("boats"), as_of=job.as_of, settings=settings or job.settings)
    return float(made.chances.set_index("life_id").loc[life["life_id"], "chance"])


def _with_clear_test(
    lives: pd.DataFrame, looks: pd.DataFrame, life: Row, job: Job
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return lives and looks as they would be after a clear penetrant test of this life on the as-of date."""
    age = float(life["age_years"])
    changed, mine = lives.copy(), lives["life_id"] == life["life_id"]
    if life["upper_years"] == float("inf"):
        changed.loc[mine, "lower_years"] = age
    changed.loc[mine, ["last_clear_years", "ranking_clear_years"]] = age
    look: dict[str, Any] = {"life_id": life["life_id"], "look_years": age, "look_on": pd.Timestamp(job.as_of)}
    look |= {"method": "penetrant", "scope": "removed", "shows": "clear", "verdict": "none", "grade": "valid"}
    look |= {"grade_reason": None, "trigger": "scheduled", "file": "if", "line": 0}
    return changed, pd.concat([looks, pd.DataFrame([look])], ignore_index=True)
