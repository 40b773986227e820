"""Where every number of one row of `priority` comes from: the rows, the settings and the reckoning."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.rank.choice import Stakes, weigh
from bobstay.rank.options import access_share, methods_offered, methods_used
from bobstay.rank.order import FLIP_CHANCE
from bobstay.rates_known import rates_known

if TYPE_CHECKING:
    from bobstay.run import Job

    Row = Any


@dataclass(frozen=True, slots=True)
class Number:
    """One number of a table: its column and value, how it was made, and the rows and settings it rests on."""

    column: str
    value: float | None
    how: str
    rests_on: tuple[str, ...]

    def line(self) -> str:
        """Return it as it is printed."""
        value = "none" if self.value is None else f"{self.value:.6g}"
        return f"{self.column} = {value}: {self.how} [{'; '.join(self.rests_on)}]"

    def record(self) -> dict[str, Any]:
        """Return it for machines."""
        return {"column": self.column, "value": self.value, "how": self.how, "rests_on": list(self.rests_on)}


@dataclass(frozen=True, slots=True)
class Ways:
    """The ways weighed for one fitting: words and expected cost in units, and what they rest on."""

    names: tuple[str, ...]
    costs: tuple[float, ...]
    chance_now: float | None
    units: float
    found: float | None  # of the method chosen


def number(column: str, value: Any, how: str, *rests_on: str) -> Number:
    """Return a Number; an empty value is None."""
    is_empty = value is None or pd.isna(value)
    return Number(column, None if is_empty else float(value), how, tuple(filter(None, rests_on)) or ("nothing",))


def traced(job: Job, row: Row, life: Row, looks: pd.DataFrame) -> tuple[tuple[Number, ...], Ways]:
    """Return every number of the priority row `row`, traced, and the ways that were weighed.

    `row` and `life` are rows of priority and lives, `looks` those of life_looks of that life.
    """
    ways = weighed_ways(job, row)
    numbers = (_age(job, row, life), *_chances(job, row, life, looks), *_losses(job, row, ways), *_places(job, row))
    return numbers + _costs(row, ways) + (_due(row),), ways


def weighed_ways(job: Job, row: Row) -> Ways:
    """Weigh the ways anew for one fitting, as the ranking did."""
    settings, priority = job.settings, job.table("priority")
    mine = priority[priority["boat_id"] == row["boat_id"]]
    share = float(access_share(mine, settings)[mine["life_id"] == row["life_id"]].iloc[0])
    chances = job.table("chances").set_index("life_id")
    now = chances["chance_now"].get(row["life_id"], np.nan)
    units = settings.consequence.units[int(row["consequence"])]
    offers = methods_offered(methods_used(job.table("lives"), job.table("life_looks")), settings)
    offer = offers.get(str(row["fitting_type"]), offers[""])
    rates = rates_known(job.table("detection"), settings)
    stakes = Stakes(*(np.array([x], dtype=np.float64) for x in (row["chance"], now, units, share)))
    made = weigh(stakes, [rates[pair] for pair in offer], settings.costs)
    names = ("leave", "replace", *(f"test by {method}, {scope}" for method, scope in offer))
    pair = (row["method"], row["scope"])
    found = rates[pair].found if pair in rates else None
    return Ways(names, tuple(map(float, made.ways[:, 0])), None if pd.isna(now) else float(now), units, found)


def _age(job: Job, row: Row, life: Row) -> Number:
    rows = job.con.execute(_PART_ROWS, {"boat": row["boat_id"], "fitting": row["fitting_id"]}).fetchall()
    said = tuple(f"{where} says installed {installed or 'nothing'}" for where, installed in rows)
    how = f"{job.as_of.isoformat()} less {life['installed_on']:%Y-%m-%d} ({life['age_basis']}), over 365.25 days"
    return number("age_years", row["age_years"], how, *said)


_PART_ROWS = """SELECT f.file || ':' || t.line, t.installed FROM fittings AS t JOIN files AS f ON f.file_id = t.file_id
    WHERE t.boat_id = $boat AND t.fitting_id = $fitting ORDER BY t.file_id, t.line"""


def _chances(job: Job, row: Row, life: Row, looks: pd.DataFrame) -> tuple[Number, ...]:
    until = job.as_of + timedelta(days=round(job.settings.horizon_years * 365.25))
    own = job.table("classes").query("fitting_type == @life.fitting_type and material == @life.material")
    if pd.isna(row["chance"]):
        why = f"no estimate: {own['model'].iloc[0] if len(own) else 'no class'}"
        return tuple(number(name, None, why, "classes") for name in ("chance", "chance_lower", "chance_upper"))
    curve = (
        f"onset curve of {life['fitting_type']} of {life['material']} (shape {own['shape'].iloc[0]:.2f}, scale "
        f"{own['scale_years'].iloc[0]:.1f} years), shifted for her water, climate, service and herself, given "
        f"{life['valid_look_count']} looks that count, by {until.isoformat()}"
    )
    rows = tuple((looks["file"] + ":" + looks["line"].astype(str)).tolist()) or ("no look at this part",)
    ends = f"end of the interval of {job.settings.estimate.interval:.0%}: parameters, rates and the boat's own effect"
    rests = ("setting estimate.interval", "setting estimate.draws", "table classes", "table detection")
    return (
        number("chance", row["chance"], curve, *rows, "table classes", "table detection"),
        number("chance_lower", row["chance_lower"], f"lower {ends}", *rests),
        number("chance_upper", row["chance_upper"], f"upper {ends}", *rests),
    )


def _losses(job: Job, row: Row, ways: Ways) -> tuple[Number, ...]:
    failure = job.settings.costs.failure
    why = row["consequence_reason"]
    own = f"the usual class of a {row['fitting_type']}" if pd.isna(why) else str(why)
    grade = f"setting consequence.{int(row['consequence'])}"
    avoided = {
        "act_now": "an open indication counts as a crack",
        "replace": f"chance x {failure:g} (a crack left fails) x {ways.units:g} units",
        "test": f"{ways.found or 0:.3f} (shown) x {ways.chance_now or 0:.5f} (there already) x {failure:g} x "
        f"{ways.units:g} units",
        "leave": "leaving takes no loss away",
    }
    method = f"detection of {row['method']}, {row['scope']}" if row["action"] == "test" else ""
    end = "of the chance; what is there already moves as far in its logit"
    loss = f"chance x {ways.units:g} units" if pd.notna(row["chance"]) else "no chance, so no loss"
    return (
        number("consequence", row["consequence"], own, "fittings or settings consequence.*"),
        number("expected_loss", row["expected_loss"], loss, "chance", grade),
        number("loss_avoided", row["loss_avoided"], avoided[row["action"]], grade, "setting costs.failure", method),
        number("loss_avoided_lower", row["loss_avoided_lower"], f"the same at the lower end {end}", "chance_lower"),
        number("loss_avoided_upper", row["loss_avoided_upper"], f"the same at the upper end {end}", "chance_upper"),
    )


def _places(job: Job, row: Row) -> tuple[Number, ...]:
    table = job.table("priority")
    listed, tied = table[table["list"] == row["list"]], table[table["tie_group"] == row["tie_group"]]
    place = f"of {len(listed)} on list {row['list']}: open indications, then expected loss, class, age, id"
    tie = f"{len(tied) - 1} others would change places with the first of them with a chance above {FLIP_CHANCE:g}"
    range_of = "were its loss at the {} end of its interval and all others' at their other end"
    return (
        number("rank", row["rank"], place, "expected_loss of every fitting on the list"),
        number("tie_group", row["tie_group"], tie, "expected_loss", "interval of the chance"),
        number("rank_lower", row["rank_lower"], range_of.format("upper"), "chance_lower", "chance_upper"),
        number("rank_upper", row["rank_upper"], range_of.format("lower"), "chance_lower", "chance_upper"),
    )


def _costs(row: Row, ways: Ways) -> tuple[Number, ...]:
    rests = ("chance", "setting costs.test", "setting costs.replace", "setting costs.failure", "setting costs.access")
    if pd.isna(row["expected_cost"]):
        why = "an open indication is acted on whatever it costs" if row["action"] == "act_now" else "no chance to weigh"
        return tuple(number(name, None, why, "action") for name in ("expected_cost", "margin"))
    listed = ", ".join(f"{name} {cost:.3g}" for name, cost in zip(ways.names, ways.costs, strict=True))
    second = " ".join(str(x) for x in (row["runner_up"], row["runner_up_method"]) if not pd.isna(x))
    return (
        number("expected_cost", row["expected_cost"], f"of the ways {listed}, that of the action", *rests),
        number("margin", row["margin"], f"cost of the next best way ({second}) less that of the action", *rests),
    )


def _due(row: Row) -> Number:
    if pd.isna(row["due_on"]):
        return number("due_years", None, "nothing is due: no age is set for its class", "table guidance")
    how = f"{row['due_action']} due on {row['due_on']:%Y-%m-%d} by {row['due_by']}"
    return number("due_years", row["due_years"], how, "table guidance", "installed_on or the last clear look")
