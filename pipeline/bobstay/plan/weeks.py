"""Yard weeks, the time boats are free, and how many may be out: the limits of a plan, read from tables."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.plan.record import WEEK_DAYS, Bundle, Week, Yard

if TYPE_CHECKING:
    from bobstay.settings import Settings

    Spans = list[tuple[date, date]]


def yard_of(
    bundles: dict[str, tuple[Bundle, ...]],
    *,
    boats: pd.DataFrame,
    slots: pd.DataFrame,
    availability: pd.DataFrame,
    settings: Settings,
    as_of: date,
) -> Yard:
    """Gather all that limits a plan from the as-of date on."""
    weeks = weeks_of(slots, as_of)
    free = free_spans(availability)
    service = {str(row["boat_id"]): _word(row["service"]) for row in boats.to_dict("records")}
    reachable = {boat: _reachable(weeks, mine, free.get(boat)) for boat, mine in bundles.items()}
    return Yard(
        weeks=weeks,
        bundles=bundles,
        reachable=reachable,
        service=service,
        out_max=_out_max(boats, settings.plan.minimum_in_service, as_of),
        budget=settings.plan.budget,
        hours=settings.plan.hours,
    )


def weeks_of(slots: pd.DataFrame, as_of: date) -> tuple[Week, ...]:
    """Return the slot weeks that hold a boat and start on or after the as-of date, in order."""
    rows = [row for row in slots.itertuples(index=False) if _holds(row) and _day(row.starts_on_earliest) >= as_of]
    starts = sorted({_day(row.starts_on_earliest) for row in rows})
    weeks = [_week(row, starts) for row in rows]
    return tuple(sorted(weeks, key=lambda week: (week.starts_on, week.slot_id)))


def free_spans(availability: pd.DataFrame) -> dict[str, Spans]:
    """Return, for each boat named, the spans of days she is surely free; spans that touch are joined."""
    spans: dict[str, Spans] = {}
    for row in availability.to_dict("records"):
        mine = spans.setdefault(str(row["boat_id"]), [])
        if pd.notna(row["from_latest"]) and pd.notna(row["to_earliest"]):
            mine.append((_day(row["from_latest"]), _day(row["to_earliest"])))
    return {boat: _joined(sorted(mine)) for boat, mine in spans.items()}


def _holds(row: Any) -> bool:
    return bool(pd.notna(row.starts_on_earliest) and pd.notna(row.boats_max) and row.boats_max >= 1)


def _week(row: Any, starts: list[date]) -> Week:
    first = _day(row.starts_on_earliest)
    last = first + timedelta(days=WEEK_DAYS - 1)
    accesses = frozenset() if pd.isna(row.access) else frozenset(filter(None, str(row.access).split(";")))
    hours = math.inf if pd.isna(row.hours_max) else float(row.hours_max)
    marks = tuple(day for day in starts if first <= day <= last)
    return Week(str(row.slot_id), first, int(row.boats_max), hours, accesses, marks)


def _joined(spans: Spans) -> Spans:
    joined: Spans = []
    for first, last in spans:
        if joined and first <= joined[-1][1] + timedelta(days=1):
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return joined


def _reachable(weeks: tuple[Week, ...], bundles: tuple[Bundle, ...], free: Spans | None) -> tuple[int, ...]:
    """Return the weeks that offer some of the boat's access and lie within her free time (none given: always)."""
    return tuple(
        number
        for number, week in enumerate(weeks)
        if any(week.offers(bundle.access) for bundle in bundles) and (free is None or _is_within(week, free))
    )


def _is_within(week: Week, free: Spans) -> bool:
    last = week.starts_on + timedelta(days=WEEK_DAYS - 1)
    return any(first <= week.starts_on and last <= end for first, end in free)


def _out_max(boats: pd.DataFrame, minimum: float, as_of: date) -> dict[str, int]:
    """Return how many boats of each service may be out in any week, of those in the fleet on the as-of date."""
    left = pd.to_datetime(boats["left_latest"])
    here = boats[left.isna() | (left > pd.Timestamp(as_of))]
    sizes = here["service"].map(_word).value_counts()
    return {str(service): math.floor((1 - minimum) * size + 1e-9) for service, size in sizes.items()}


def _word(service: Any) -> str:
    return "not_stated" if pd.isna(service) else str(service)


def _day(value: Any) -> date:
    return pd.Timestamp(value).date()
