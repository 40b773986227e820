"""Where every number of one row of `guidance` comes from: the lives and looks, the limits, the rules."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.errors import UsageError
from bobstay.explain.numbers import Number, number
from bobstay.outside import rules_of, speaks_of
from bobstay.show import records
from bobstay.told import CAUTION, Part, Told, each, percent

if TYPE_CHECKING:
    from bobstay.run import Job

    Row = Any

_NAMED = 12  # rows named before the rest are only counted


def explain_class(job: Job, fitting_type: str, material: str) -> Told:
    """Explain the guidance of one class: every number with the rows and assumptions behind it.

    Raises UsageError where there is no such class, with the nearest.
    """
    row = _row(job, fitting_type, material)
    numbers = traced_class(job, row)
    own = job.table("classes").query("fitting_type == @row.fitting_type and material == @row.material")
    findings = _findings(job, row)
    parts = (
        Part(f"{row['fitting_type']}, {row['material']}", (str(row["assumption"]), *CAUTION)),
        Part("which rule set each age", (str(row["binding_rule"]), f"the earliest: {row['earliest']}")),
        Part("where each number comes from", tuple(n.line() for n in numbers)),
        Part("the findings behind it", () if len(findings) else ("no look at this class found anything",), findings),
        Part("its curve", tuple(own["model"]), own.drop(columns=["fitting_type", "material", "model"]).T.reset_index()),
        Part("what would change it", _changes(job, row)),
    )
    content: dict[str, Any] = {"guidance": records(row.to_frame().T)[0], "numbers": [n.record() for n in numbers]}
    content |= {"class": records(own)[0] if len(own) else None, "findings": records(findings)}
    return Told(parts, content | {"changes": list(_changes(job, row)), "as_of": job.as_of.isoformat()})


def _row(job: Job, fitting_type: str, material: str) -> Row:
    table = job.table("guidance")
    hit = [
        place
        for place, (kind, of) in enumerate(zip(table["fitting_type"], table["material"], strict=True))
        if speaks_of("fitting_type", fitting_type, str(kind)) and speaks_of("material", material, str(of))
    ]
    if hit:
        return table.iloc[hit[0]]
    known = [f"{kind} {of}" for kind, of in zip(table["fitting_type"], table["material"], strict=True)]
    near = difflib.get_close_matches(f"{fitting_type} {material}", known, n=3, cutoff=0.3)
    raise UsageError(
        f"there is no class {fitting_type} of {material}",
        where=f"--class {fitting_type} {material}",
        remedy=f"did you mean {' or '.join(near)}?" if near else f"known: {', '.join(known[:20])}",
    )


def traced_class(job: Job, row: Row) -> tuple[Number, ...]:
    """Return every number of the guidance row `row`, traced to lives, looks, settings and rules."""
    lives = job.table("lives").query("fitting_type == @row.fitting_type and material == @row.material")
    return (*_ages(job, row, lives), *_rules(job, row), *_shown(row, lives), *_growth(job, row, lives))


def _ages(job: Job, row: Row, lives: pd.DataFrame) -> tuple[Number, ...]:
    rule = dict(part.split(": ", 1) for part in str(row["binding_rule"]).split("; "))
    grade = int(row["consequence"])
    limits = f"setting guidance.test_limit.{grade}", f"setting guidance.replace_limit.{grade}"
    growth = "setting guidance.growth_years", f"setting consequence.{grade}", "setting costs"
    behind = (_of_lives(lives), "table class_draws", "setting estimate.interval")
    rests = {"test_from": (limits[0], *behind), "retest": (*growth, limits[0], *behind)}
    rests["replace_by"] = (limits[1], "setting costs", *behind)
    words = {"test_from": "test from", "retest": "retest", "replace_by": "renew"}
    found = []
    for kind, word in words.items():
        how = f"set by: {rule.get(word, 'none')}; the cautious end, rounded down to half years"
        found.append(number(f"{kind}_years", row[f"{kind}_years"], how, *rests[kind]))
        for end in ("lower", "upper"):
            column = f"{kind}_years_{end}"
            about = f"{end} end over the draws of the curve, rounded down to half years"
            found.append(number(column, row[column], about, *rests[kind]))
    oldest = f"oldest age at which at least {job.settings.guidance.minimum_at_risk} lives are at risk"
    usual = "the class of most of its fittings, the graver of two equally usual"
    return (
        *found,
        number("oldest_years", row["oldest_years"], oldest, _of_lives(lives), "setting guidance.minimum_at_risk"),
        number("consequence", row["consequence"], usual, "fittings or settings consequence.*"),
    )


def _of_lives(lives: pd.DataFrame) -> str:
    found = int((lives["indication_count"] > 0).sum())
    looks = int(lives["valid_look_count"].sum())
    return f"{len(lives)} lives of table lives, {looks} looks that count, {found} lives with an indication"


def _rules(job: Job, row: Row) -> tuple[Number, ...]:
    from bobstay import store

    rules = rules_of(job.given("rules") if store.has(job.con, "rules") else None)
    found = []
    for kind, asked in (("test_from", "test_from"), ("retest", "retest"), ("replace_by", "renew_by")):
        mine = [r for r in rules if r.kind == asked and r.is_for(str(row["fitting_type"]), str(row["material"]))]
        told = [f"{r.issuer}: {r.years:g} years{f' ({r.source})' if r.source else ''}" for r in mine]
        how = f"the earliest of {len(mine)} rules from outside" if mine else "no rule from outside speaks of this class"
        found.append(number(f"{kind}_rule_years", row[f"{kind}_rule_years"], how, *(told or ["input table rules"])))
    return tuple(found)


def _shown(row: Row, lives: pd.DataFrame) -> tuple[Number, ...]:
    looked, found = int(row["looked_count"]), int(row["found_count"])
    counts = (_of_lives(lives),)
    bound = f"largest share that {found} of {looked} still allow: 95 %, one-sided, exact binomial"
    needed = "29, 59 or 299 lives with a clear look in all show 90, 95 or 99 % (share^n <= .05), less those looked at"
    why = needed if found == 0 else "some were found, so no count of clear looks would show it"
    return (
        number("looked_count", looked, "lives of the class with a look that counts", *counts),
        number("found_count", found, "of these, lives with an indication not called unfounded", *counts),
        number("share_upper", row["share_upper"], bound, "looked_count", "found_count"),
        *(number(f"tests_needed_{n}", row[f"tests_needed_{n}"], why, "looked_count") for n in (90, 95, 99)),
    )


def _growth(job: Job, row: Row, lives: pd.DataFrame) -> tuple[Number, ...]:
    how = job.settings.guidance
    rests = (
        _of_lives(lives),
        f"setting guidance.growth_years (otherwise {how.growth_years_otherwise:g})",
        f"setting guidance.growth_spread ({how.growth_spread:g})",
        "setting costs",
        "detection of penetrant, removed",
    )
    least = "the half year between tests that costs least by the delay-time model, growth assumed"
    none = "no time within half the assumed growth costs least: testing more seldom, or never, costs less"
    cheapest = number("cheapest_retest_years", row["cheapest_retest_years"], least, *rests)
    if cheapest.value is None:
        cheapest = number("cheapest_retest_years", None, none, *rests)
    failing = "chance that a part tested from test_from_years every retest_years breaks before its crack is found"
    return cheapest, number("failure_chance", row["failure_chance"], f"{failing}, growth assumed", *rests)


def _findings(job: Job, row: Row) -> pd.DataFrame:
    """Return the looks that found something in the class, the newest first, each with its row."""
    lives = job.table("lives")
    mine = (lives["fitting_type"] == row["fitting_type"]) & (lives["material"] == row["material"])
    looks = job.table("life_looks").merge(lives.loc[mine, ["life_id"]], on="life_id", validate="many_to_one")
    found = looks[looks["shows"] == "indication"].sort_values(["look_on", "life_id"], ascending=[False, True])
    day = found["look_on"].dt.strftime("%Y-%m-%d")
    shown = found.assign(look_on=day, row=found["file"] + ":" + found["line"].astype(str))
    columns = ["look_on", "life_id", "look_years", "method", "scope", "verdict", "row"]
    return shown[columns].head(_NAMED).reset_index(drop=True)


def _changes(job: Job, row: Row) -> tuple[str, ...]:
    others = job.table("guidance").query("fitting_type == @row.fitting_type and material != @row.material")
    grade = int(row["consequence"])
    said = [
        f"another limit: guidance.test_limit.{grade} and guidance.replace_limit.{grade} set the first two ages",
        "a faster growth: half of guidance.growth_years is the longest time between tests",
        *(
            f"another material: {other.material} is tested from {_age(other.test_from_years)} and renewed by "
            f"{_age(other.replace_by_years)} years"
            for other in each(others)
        ),
    ]
    if int(row["found_count"]) == 0 and pd.notna(row["tests_needed_90"]):
        more = int(row["tests_needed_90"])
        said.append(f"{more} more lives with a clear look would show that 9 in 10 have none ({percent(0.95)})")
    return tuple(said)


def _age(years: Any) -> str:
    return "no age set" if pd.isna(years) else f"{years:g}"
