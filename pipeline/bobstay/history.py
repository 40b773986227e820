"""What the records hold of one boat, for a buyer or an insurer: facts with the rows they stand in, no judgement."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.explain import find_boat
from bobstay.lives import lives_then
from bobstay.show import records
from bobstay.sql_text import file_named
from bobstay.told import Part, Told

if TYPE_CHECKING:
    from bobstay.run import Job

NO_CERTIFICATE = (
    "This is no certificate and no survey. It repeats what the records taken in say, each with the file and line it",
    "stands in; it does not say that the boat or any fitting is fit for sea. What nobody looked at or wrote down is",
    "not in it, and a look that found nothing says little of the day after it. Let a surveyor and a rigger look.",
)
_ROW = f"coalesce({file_named('f')}, '-') || ':' || t.line AS row"
_FROM = "LEFT JOIN files AS f ON f.file_id = t.file_id WHERE t.boat_id = $boat"
_LOOKS = f"""SELECT t.inspected_on AS "on", coalesce(t.fitting_id, 'whole boat') AS fitting, t.method,
    coalesce(t.scope, 'not stated') AS scope, t.result, t.disposition, t.indication_length_mm AS length_mm,
    t.action, t.trigger, t.inspector, t.note, {_ROW} FROM inspections AS t {_FROM}
    ORDER BY t.inspected_on_earliest NULLS FIRST, fitting, t.file_id, t.line"""
_PARTS = f"""SELECT t.fitting_id AS fitting, t.fitting_type, t.material, t.installed, t.removed, t.removal_reason,
    t.supplier, t.batch, t.moved_from_boat_id, t.moved_from_fitting_id, {_ROW} FROM fittings AS t {_FROM}
    ORDER BY fitting, t.installed_earliest NULLS FIRST, t.file_id, t.line"""
_EVENTS = f"""SELECT t.happened_on AS "on", t.kind, coalesce(t.fitting_types, 'all') AS fitting_types, t.note, {_ROW}
    FROM events AS t {_FROM} ORDER BY t.happened_on_earliest NULLS FIRST, t.file_id, t.line"""
_NAMES = f"""SELECT t.alias, t."from", t."to", {_ROW} FROM aliases AS t {_FROM} ORDER BY t.alias, t.file_id, t.line"""
_SUPERSEDED = """SELECT "table", file || ':' || line AS row, by_file || ':' || by_line AS replaced_by, change, what,
    confirmed_by, reason, row_json FROM superseded WHERE boat_id = $boat
    ORDER BY "table", file, line, by_file, by_line"""
_ENDED = ["fitting_id", "part_number", "installed_on", "age_basis", "ended_on", "end_reason", "removal_reason"]
_INDICATION = ("relevant", "failed", "non_relevant", "false")


def history_of(job: Job, word: str) -> Told:
    """Return the history of the boat whose id or name is `word`; raises UsageError where there is none."""
    boat = find_boat(job, word)
    names = _of(job, _NAMES, boat)
    looks, parts, events = (_of(job, sql, boat) for sql in (_LOOKS, _PARTS, _EVENTS))
    ended, clear, unlooked = _worked_out(job, str(boat["boat_id"]))
    found = looks[looks["result"].isin(_INDICATION)]
    aside = _set_aside(job, {str(w) for w in (boat["boat_id"], boat["boat_name"], *names["alias"]) if not pd.isna(w)})
    tables = {
        "names": names,
        "parts": parts,
        "ended": ended,
        "looks": looks,
        "findings": found,
        "clear": clear,
        "events": events,
        "superseded": _of(job, _SUPERSEDED, boat),
        "set_aside": aside,
    }
    content = {name: records(frame) for name, frame in tables.items()}
    own: dict[str, Any] = {"boat": records(boat.to_frame().T)[0], "as_of": job.as_of.isoformat()}
    own |= {"no_certificate": " ".join(NO_CERTIFICATE)}
    return Told(_parts(job, boat, tables, unlooked), own | content | {"not_looked_at": unlooked})


def _of(job: Job, sql: str, boat: Any) -> pd.DataFrame:
    frame = job.con.execute(sql, {"boat": str(boat["boat_id"])}).df()
    for name in frame.columns[frame.dtypes.map(lambda kind: getattr(kind, "kind", "") == "M")]:
        frame[name] = _day(frame[name])
    return frame


def _worked_out(job: Job, boat_id: str) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Return parts no longer in service, the last clear look of each other, and places without a look that counts.

    Worked out from the records as they stand now: what earlier runs made of them may be older.
    """
    lives, looks = lives_then(job.con, as_of=job.as_of, settings=job.settings)
    mine = lives[lives["boat_id"].eq(boat_id)].sort_values(["fitting_id", "part_number"])
    serving = mine["is_in_service"].astype(bool)
    ended = mine.loc[~serving, _ENDED].rename(columns={"fitting_id": "fitting"})
    for name in ("installed_on", "ended_on"):
        ended[name] = _day(ended[name])
    clear = _last_clear(mine[serving], looks, job.settings.guidance.clear_counts_years)
    unlooked = mine.loc[serving & mine["valid_look_count"].eq(0), "fitting_id"]
    return ended.reset_index(drop=True), clear, sorted(map(str, unlooked))


def _last_clear(lives: pd.DataFrame, looks: pd.DataFrame, years: float) -> pd.DataFrame:
    """Return the last clear look of each life, with the day until which it counts at most (`years` after it)."""
    clear = looks[looks["shows"].eq("clear")].sort_values(["life_id", "look_on", "file", "line"])
    last = clear.drop_duplicates("life_id", keep="last")
    both = lives[["life_id", "fitting_id", "voided_by"]].merge(last, on="life_id", how="inner", validate="one_to_one")
    both["counts_until"] = _day(both["look_on"] + pd.to_timedelta(round(years * 365.25), unit="D"))
    both["row"] = both["file"] + ":" + both["line"].astype(str)
    shown = both.assign(on=_day(both["look_on"])).rename(columns={"fitting_id": "fitting"})
    return shown[["fitting", "on", "method", "scope", "grade", "grade_reason", "counts_until", "voided_by", "row"]]


def _day(days: pd.Series[Any]) -> pd.Series[Any]:
    text: pd.Series[Any] = days.dt.strftime("%Y-%m-%d")
    return text


def _set_aside(job: Job, words: set[str]) -> pd.DataFrame:
    """Return the rows set aside in which some cell is the boat's id, her name or an alias."""
    rows = job.table("set_aside")
    known = {word.casefold() for word in words}
    mine = [bool(known & {str(cell).strip().casefold() for cell in _cells(text)}) for text in rows["row_json"]]
    chosen = rows[pd.Series(mine, index=rows.index, dtype=bool)].copy()
    chosen.insert(0, "row", chosen["file"] + ":" + chosen["line"].astype(str))
    return chosen[["row", "table", "reason", "hint", "row_json"]].reset_index(drop=True)


def _cells(row_json: str) -> list[Any]:
    try:
        row = json.loads(row_json)
    except ValueError:
        return []
    return list(row.values()) if isinstance(row, dict) else list(row)


def _parts(job: Job, boat: Any, tables: dict[str, pd.DataFrame], unlooked: list[str]) -> tuple[Part, ...]:
    said = [f"{name}: {boat[name]}" for name in _FACTS if not pd.isna(boat[name])]
    changes = tables["superseded"].drop(columns="row_json")
    return (
        Part(f"what the records hold of {boat['boat_id']}", (*NO_CERTIFICATE, f"as of {job.as_of.isoformat()}", *said)),
        _part("other names she went by", tables["names"]),
        _part("parts as the records list them", tables["parts"]),
        _part("parts no longer in service", tables["ended"]),
        _part("every look", tables["looks"]),
        _part("what looks found", tables["findings"]),
        _part(
            "the last look that found nothing, of each part in service, and until when it counts",
            tables["clear"],
            "it counts, at most until that day, for what its method and scope can show, and not past an event",
        ),
        Part("parts in service that no look that counts is on record of", (", ".join(unlooked) or "none",)),
        _part("events", tables["events"]),
        _part("rows that newer ones took the place of", changes),
        _part("rows set aside that name her", tables["set_aside"].drop(columns="row_json")),
        Part("no certificate", NO_CERTIFICATE),
    )


_FACTS = (
    "boat_name", "design", "built", "joined", "left", "left_reason", "service", "water", "climate", "home_port",
)  # fmt: skip


def _part(heading: str, rows: pd.DataFrame, *lines: str) -> Part:
    shown = rows.dropna(axis="columns", how="all")
    return Part(heading, lines if len(rows) else ("none on record",), shown)
