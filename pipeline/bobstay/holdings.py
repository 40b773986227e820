"""What the store holds, from which files, what was set aside and why; and what the whole job found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay import store
from bobstay.show import records
from bobstay.tables import INPUTS
from bobstay.told import CAUTION, Part, Told, each, percent

if TYPE_CHECKING:
    from pathlib import Path

    from bobstay.run import Job

TOP = 5


def holdings(job: Job) -> Told:
    """Say what the store holds: files with rows read, used and set aside, reasons with counts, lives left out."""
    files = job.table("files")
    reasons = _reasons(job.table("set_aside"))
    unread = _reasons(job.table("cells_unread"))
    words = _words(pd.concat([job.table("set_aside"), job.table("cells_unread")], ignore_index=True))
    merged = job.table("words_merged")
    left_out = _left_out(job)
    changes = _changes(job.table("superseded"))
    counts = {t.name: _count(job, t.name) for t in INPUTS}
    parts = (
        Part("the store", (f"as of {job.as_of.isoformat()}", ", ".join(f"{n} {name}" for name, n in counts.items()))),
        Part(
            "files: rows read = rows used + rows set aside", rows=files.drop(columns=["file_id", "sha256", "mapping"])
        ),
        Part(f"rows set aside: {len(job.table('set_aside'))}", () if len(reasons) else ("none",), reasons),
        Part(
            f"cells not used of rows used: {len(job.table('cells_unread'))}", () if len(unread) else ("none",), unread
        ),
        Part("words that are not known", () if len(words) else ("none",), words),
        Part("spellings that make one class", () if len(merged) else ("none",), merged),
        Part("rows that newer ones took the place of", () if len(changes) else ("none",), changes),
        Part("lives the plain estimate leaves out", () if len(left_out) else ("none",), left_out),
    )
    content: dict[str, Any] = {"as_of": job.as_of.isoformat(), "counts": counts, "files": records(files)}
    content |= {"set_aside": records(reasons), "cells_unread": records(unread), "left_out": records(left_out)}
    content |= {"superseded": records(changes), "unknown_words": records(words), "words_merged": records(merged)}
    return Told(parts, content)


def _reasons(rows: pd.DataFrame) -> pd.DataFrame:
    """Return each reason with its count and the first place where it stands; the commonest first."""
    if rows.empty:
        return pd.DataFrame({"rows": [], "table": [], "column": [], "reason": [], "hint": [], "first": []})
    marked = rows.assign(first=rows["file"] + ":" + rows["line"].astype(str), column=rows["column"].fillna("-"))
    groups = marked.groupby(["table", "column", "reason", "hint"], sort=True, as_index=False)
    counted = groups.agg(rows=("file", "size"), first=("first", "first"))
    ordered = counted.sort_values(["rows", "table", "column", "reason"], ascending=[False, True, True, True])
    return ordered[["rows", "table", "column", "reason", "hint", "first"]].reset_index(drop=True)


def _words(rows: pd.DataFrame) -> pd.DataFrame:
    """Return each word that is not known with its count and what it may mean; the commonest first."""
    unknown = rows[rows["reason"].astype(str).str.startswith("unknown word in ")]
    if unknown.empty:
        return pd.DataFrame({"rows": [], "column": [], "value": [], "hint": []})
    counted = unknown.groupby(["column", "value", "hint"], sort=True, as_index=False).agg(rows=("file", "size"))
    ordered = counted.sort_values(["rows", "column", "value"], ascending=[False, True, True])
    return ordered[["rows", "column", "value", "hint"]].reset_index(drop=True)


def _changes(rows: pd.DataFrame) -> pd.DataFrame:
    """Return how many rows were replaced by table and kind of change, and how many at somebody's word."""
    groups = rows.groupby(["table", "change"], sort=True, as_index=False)
    return groups.agg(rows=("file", "size"), confirmed=("confirmed_by", "count"))


def _left_out(job: Job) -> pd.DataFrame:
    if not store.has(job.con, "lives"):
        return pd.DataFrame({"left_out": [], "lives": []})
    counts = job.table("lives")["left_out"].dropna().value_counts().sort_index()
    return counts.rename_axis("left_out").reset_index(name="lives")


def _count(job: Job, table: str) -> int:
    return int(store.value(job.con, f'SELECT count(*) FROM "{table}"'))


def outcome(job: Job, folder: Path, code: int) -> Told:
    """Say what the whole job found: the first of each list, the plan, what was set aside, where the pages are."""
    priority, files = job.table("priority"), job.table("files")
    plan = job.table("plan_summary")
    read, used, aside = (int(files[c].sum()) for c in ("rows_read", "rows_used", "rows_set_aside"))
    heading = "done" if code == 0 else "done, but too little evidence for any estimate"
    invented = ("INVENTED DATA: none of these boats exists",) if job.settings.invented else ()
    parts = (
        Part(
            heading,
            (
                *invented,
                f"as of {job.as_of.isoformat()}: {priority['boat_id'].nunique()} boats, "
                f"{len(priority)} fittings in service",
                f"{read} rows read = {used} used + {aside} set aside",
                *CAUTION,
            ),
        ),
        Part("first on the evidence", rows=_first(priority, "evidence")),
        Part("first where nobody has looked", rows=_first(priority, "nobody_looked")),
        Part("haul-out plan", plan_lines(plan)),
        Part("where it is", (f"pages: {folder / 'index.html'}", f"tables: {folder / 'tables'}")),
    )
    content: dict[str, Any] = {"code": code, "as_of": job.as_of.isoformat(), "out": str(folder), "rows_read": read}
    content |= {"rows_used": used, "rows_set_aside": aside, "plan": records(plan)}
    return Told(parts, content | {"first": records(priority.groupby("list").head(TOP))})


def _first(priority: pd.DataFrame, name: str) -> pd.DataFrame:
    rows = priority[priority["list"] == name].sort_values("rank").head(TOP)
    shown = rows[["rank", "boat_id", "fitting_id", "fitting_type", "material", "consequence", "action"]].copy()
    shown.insert(
        5,
        "chance",
        [
            f"{percent(r.chance)} ({percent(r.chance_lower)} to {percent(r.chance_upper)})"
            if r.chance >= 0
            else "no estimate"
            for r in each(rows)
        ],
    )
    return shown


def plan_lines(plan: pd.DataFrame) -> tuple[str, ...]:
    """Return what the terminal says of a `plan_summary`."""
    row = plan.iloc[0]
    return (
        f"{row['boats_planned']} boats planned, {row['boats_waiting']} with work wait; cost {row['cost']:.0f}, "
        f"{row['hours']:.0f} hours",
        f"expected loss avoided {row['loss_avoided']:.1f} of at most {row['bound']:.1f} cost units "
        f"({row['loss_avoided_lower']:.1f} to {row['loss_avoided_upper']:.1f} were every chance at that end of its "
        f"interval at once; gap {percent(row['gap'])}); {row['loss_left']:.1f} stays; {row['binding']}",
    )
