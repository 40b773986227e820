"""Lives worked out the slow way, place by place and day by day in plain Python, to hold the SQL to.

Written from the rules, not from the queries. It reads the same drawn rows; installations may be stated, rough or,
for the first part of a place, unknown; looks that replace or remove carry exact days.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta

from drawn_fleet import Row, bounds

Cells = dict[str, str]
YEAR = 365.25
NEVER = date(9999, 12, 31)
FINDINGS = ("relevant", "failed", "non_relevant", "false")


@dataclass
class Look:
    """One look at one place, graded."""

    line: int
    earliest: date
    latest: date
    action: str
    method: str
    shows: str
    verdict: str
    grade: str
    day: date = NEVER

    @property
    def middle(self) -> date:
        return self.earliest + (self.latest - self.earliest) // 2

    @property
    def is_clear(self) -> bool:
        return self.shows == "clear" or self.verdict == "unfounded"

    @property
    def is_indication(self) -> bool:
        return self.shows == "indication" and self.verdict != "unfounded"


@dataclass
class Part:
    """One part in one place."""

    row: Cells
    start: date
    basis: str
    is_unlisted: bool = False
    end: date = NEVER
    reason: str = ""
    removed: date | None = None
    looks: list[Look] = field(default_factory=list)


def graded(line: int, row: Cells, as_of: date) -> Look | None:
    """Grade one row of inspections; None where it comes after the as-of date."""
    earliest, latest = bounds(row["inspected_on"])
    if earliest is None or latest is None or earliest > as_of:
        return None
    is_found = row["result"] in FINDINGS
    grade = "no_information" if row["result"] in ("inconclusive", "not_inspected") else _minima(row)
    unfounded = row["result"] in ("non_relevant", "false") or row.get("disposition") == "unfounded"
    confirmed = row["result"] == "failed" or row.get("disposition") == "confirmed"
    verdict = "unfounded" if unfounded else "confirmed" if confirmed else "open"
    shows = "indication" if is_found else "clear" if grade in ("valid", "not_stated") else "nothing"
    return Look(
        line, earliest, min(latest, as_of), row.get("action", ""), row["method"], shows,
        verdict if is_found else "none", grade,
    )  # fmt: skip


def _minima(row: Cells) -> str:
    if row["method"] not in ("penetrant", "fluorescent_penetrant"):
        return "valid"
    cells = [row.get(k) for k in ("surface_cleaned", "penetrant_dwell_min", "developer_dwell_min", "part_temp_c")]
    cleaned, dwell, developer, warmth = cells
    below = cleaned == "no" or (dwell and float(dwell) < 5) or (developer and float(developer) < 10)
    if below or (warmth and not 10 <= float(warmth) <= 50):
        return "below_minima"
    return "valid" if all(cells) else "not_stated"


def parts_of(boat: Cells, rows: list[Cells], looks: list[Look], as_of: date) -> list[Part]:
    """Return the parts of one place in order, each with its looks."""
    known = [r for r in rows if (bounds(r.get("installed", "XXXX"))[0] or date.min) <= as_of]
    known = _in_order(known)
    replaced = sorted({k.middle for k in looks if k.action == "replaced"})
    new_parts = _new_parts(known, replaced)
    parts = [_row_part(boat, known, i, new_parts, looks, as_of) for i in range(len(known))]
    listed = list(parts)
    for day in replaced:
        before = [p for p in listed if p.start < day]
        if day not in new_parts.values() and before:
            parts.append(Part(max(before, key=lambda p: p.start).row, day, "stated", is_unlisted=True))
    parts.sort(key=lambda p: (p.start, p.is_unlisted))
    _end(boat, parts, looks, as_of)
    for look in looks:
        _hand(look, parts)
    return parts


def _in_order(rows: list[Cells]) -> list[Cells]:
    """Order rows by their days; one of unknown or rough day that was removed comes before the first to outlast it."""

    def gone(row: Cells) -> date:
        return bounds(row.get("removed", "XXXX"))[1] or NEVER

    def key(row: Cells) -> tuple[date, int, date]:
        earliest, latest = bounds(row.get("installed", "XXXX"))
        middle = _middle(row)
        if gone(row) == NEVER or (middle and earliest == latest):
            return middle or date.min, 1, gone(row)
        later = [_middle(other) for other in rows if gone(other) > gone(row)]
        first = min([d for d in (middle, *later) if d], default=gone(row))
        return max(first, earliest or first), 0, gone(row)

    return sorted(rows, key=key)


def _middle(row: Cells) -> date | None:
    earliest, latest = bounds(row.get("installed", "XXXX"))
    return earliest + (latest - earliest) // 2 if earliest and latest else None


def _new_parts(rows: list[Cells], replaced: list[date]) -> dict[int, date]:
    """Which row is the new part of which replacement: nearest to nearest, within 31 days, one to one."""
    wishes: dict[date, list[tuple[int, int]]] = {}
    for i, row in enumerate(rows):
        earliest, latest = bounds(row.get("installed", "XXXX"))
        if earliest is None or latest is None:
            continue
        gone = bounds(row.get("removed", "XXXX"))[1] or NEVER
        before = bounds(rows[i - 1].get("installed", "XXXX"))[0] if i else None
        options = []
        for day in replaced:
            apart = max((earliest - day).days, (day - latest).days, 0)
            there = latest >= day if i == 0 else before is None or day > before
            if apart <= 31 and day < gone and there:
                options.append((apart, day))
        if options:
            apart, day = min(options)
            wishes.setdefault(day, []).append((apart, i))
    return {min(wish)[1]: day for day, wish in wishes.items()}


def _row_part(
    boat: Cells, rows: list[Cells], i: int, new_parts: dict[int, date], looks: list[Look], as_of: date
) -> Part:
    row = rows[i]
    earliest, latest = bounds(row.get("installed", "XXXX"))
    if i in new_parts:
        return Part(row, max(new_parts[i], earliest or date.min), "stated")
    if earliest and earliest == latest:
        return Part(row, earliest, "stated")
    gone = _removed(row, as_of)
    out_before = bounds(rows[i - 1].get("removed", "XXXX"))[0] if i else None
    seen = [
        k.latest
        for k in looks
        if (i == 0 or (out_before and k.latest > out_before)) and k.latest >= (earliest or date.min)
    ]
    after = _middle(rows[i + 1]) if i + 1 < len(rows) else None
    highest = min(d for d in (latest, min(seen, default=None), gone, after, _left(boat, as_of), as_of) if d)
    lowest = [d for d in (earliest, bounds(boat.get("built", "XXXX"))[0]) if d]
    lowest += [d for d in (out_before, bounds(rows[i - 1].get("installed", "XXXX"))[0] if i else None) if d]
    if earliest and latest:
        low = min(max(lowest), highest)
        return Part(row, low + (highest - low) // 2, "rough")
    if lowest:
        return Part(row, min(max(lowest), highest), "bounded")
    return Part(row, min(highest, date.fromisoformat(boat["records"]) if boat["records"] else highest), "at_least")


def _removed(row: Cells, as_of: date) -> date | None:
    earliest, latest = bounds(row.get("removed", "XXXX"))
    return min(latest, as_of) if earliest and latest and earliest <= as_of else None


def _left(boat: Cells, as_of: date) -> date | None:
    day = boat.get("left")
    return date.fromisoformat(day) if day and date.fromisoformat(day) <= as_of else None


def _end(boat: Cells, parts: list[Part], looks: list[Look], as_of: date) -> None:
    for n, part in enumerate(parts):
        same_row = [p for p in parts[n + 1 :] if p.row is part.row]
        gone = _removed(part.row, as_of)
        month = timedelta(days=31)
        if gone and (not part.is_unlisted or gone > part.start + month):
            part.removed = gone if not same_row or gone <= same_row[0].start + month else None
        ends = [(d, rank) for d, rank in ((part.removed, 1), (_left(boat, as_of), 2), (as_of, 3)) if d]
        if n + 1 < len(parts):
            ends.append((parts[n + 1].start, 0))
        for look in looks:
            first_day = n == 0 and look.middle == part.start and look.action == "removed"
            if look.action and (look.middle > part.start or first_day):
                ends.append((look.middle, 0 if look.action == "replaced" else 1))
        day, _ = min(ends)
        part.end = max(day, part.start)
        rank = min(rank for d, rank in ends if d <= part.end)
        part.reason = ("replaced", "removed", "boat_left", "in_service")[rank]


def _hand(look: Look, parts: list[Part]) -> None:
    """Give a look to the part it belongs to; on the day of replacement to the old one."""

    def holds(n: int, earliest: date, latest: date) -> bool:
        part = parts[n]
        starts_fresh = n == 0 or parts[n - 1].end < part.start
        first = part.start if starts_fresh else part.start + timedelta(days=1)
        return first <= latest and earliest <= part.end

    held = [n for n in range(len(parts)) if holds(n, look.middle, look.middle)]
    held = held or [n for n in range(len(parts)) if holds(n, look.earliest, look.latest)]
    if not held:
        return
    part = parts[held[0]]
    if look.is_clear:
        look.day = max(look.earliest, part.start)
    elif look.shows == "indication":
        look.day = min(look.latest, part.end)
    else:
        look.day = min(max(look.middle, part.start), part.end)
    part.looks.append(look)


def known_of(boat: Cells, part: Part, events: list[Cells], as_of: date) -> Row:
    """Return what is known of one life, as far as the table of lives says it in numbers, days and words."""
    clear = sorted(k.day for k in part.looks if k.is_clear)
    found = sorted(k.day for k in part.looks if k.is_indication)
    finding = found[0] if found else None
    reason = part.row.get("removal_reason") if part.removed and part.reason in ("replaced", "removed") else None
    if finding is None and reason == "indication":
        finding = part.end
    before = [d for d in clear if finding is None or d < finding]
    is_late = not boat["records"] or part.start < date.fromisoformat(boat["records"])
    left_out = None
    if part.basis == "at_least":
        left_out = "age_unknown"
    elif is_late and not before:
        left_out = "joined_late_first_look_indication" if found else "joined_late_no_clear_look"
    elif finding == part.start:
        left_out = "indication_at_age_zero"
    entry = None if part.basis == "at_least" else 0.0 if not is_late else _age(part, before[0]) if before else None
    voiding = [e for e in events if part.start < date.fromisoformat(e["happened_on"]) <= part.end and _hits(e, part)]
    last = max(voiding, key=lambda e: e["happened_on"], default=None)
    is_voided = bool(last and clear and date.fromisoformat(last["happened_on"]) > clear[-1])
    return {
        "fitting_type": part.row["fitting_type"],
        "installed_on": part.start,
        "age_basis": part.basis,
        "ended_on": part.end,
        "end_reason": part.reason,
        "removal_reason": reason,
        "entry_years": entry,
        "lower_years": _age(part, before[-1]) if before else 0.0,
        "upper_years": _age(part, finding) if finding else math.inf,
        "left_out": left_out,
        "look_count": len(part.looks),
        "clear_count": len(clear),
        "indication_count": len(found),
        "valid_look_count": len(clear) + len(found),
        "open_indication_on": found[0] if found and part.reason == "in_service" else None,
        "last_valid_look": max(clear + found, default=None),
        "last_clear_years": _age(part, clear[-1]) if clear else None,
        "ranking_clear_years": _age(part, clear[-1]) if clear and not is_voided else None,
        "voided_by": f"{last['kind']} {last['happened_on']}" if last and is_voided else None,
        "voided_before": date.fromisoformat(last["happened_on"]) if last else None,
    }


def _age(part: Part, day: date) -> float:
    return (day - part.start).days / YEAR


def _hits(event: Cells, part: Part) -> bool:
    types = event.get("fitting_types", "")
    return not types or part.row["fitting_type"] in [t.strip().lower().replace("_", " ") for t in types.split(";")]
