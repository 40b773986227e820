"""Yard weeks, the time boats are free, and how many may be out: the limits of a plan, read from tables."""

from __future__ import annotations

import math
from collections import Counter
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.errors import UsageError
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
    """Gather all that limits a plan from the as-of date on; raises UsageError where more are kept than there are."""
    weeks = weeks_of(slots, as_of)
    spans = free_spans(availability)
    free = {boat: _free(weeks, spans.get(boat)) for boat in bundles}
    return Yard(
        weeks=weeks,
        bundles=bundles,
        free=free,
        reachable={boat: _reachable(weeks, mine, free[boat]) for boat, mine in bundles.items()},
        group=groups_of(boats, settings),
        out_max=_out_max(boats, settings, as_of),
        budget=settings.plan.budget,
        hours=settings.plan.hours,
        access_max=settings.plan.access_boats_max,
        fixed={},
    )


def groups_of(boats: pd.DataFrame, settings: Settings) -> dict[str, str]:
    """Return, by boat, the group of which so many boats are kept in service."""
    by = settings.plan.kept_by
    words = ["fleet"] * len(boats) if by == "fleet" else [_word(value) for value in boats[by]]
    return {str(boat): word for boat, word in zip(boats["boat_id"], words, strict=True)}


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


def _free(weeks: tuple[Week, ...], spans: Spans | None) -> tuple[int, ...]:
    """Return the weeks that lie within the boat's free time (none given: always)."""
    return tuple(number for number, week in enumerate(weeks) if spans is None or _is_within(week, spans))


def _reachable(weeks: tuple[Week, ...], bundles: tuple[Bundle, ...], free: tuple[int, ...]) -> tuple[int, ...]:
    """Return those of the weeks `free` that offer some of the boat's access."""
    return tuple(number for number in free if any(weeks[number].offers(bundle.access) for bundle in bundles))


def _is_within(week: Week, free: Spans) -> bool:
    last = week.starts_on + timedelta(days=WEEK_DAYS - 1)
    return any(first <= week.starts_on and last <= end for first, end in free)


def _out_max(boats: pd.DataFrame, settings: Settings, as_of: date) -> dict[str, int]:
    """Return how many boats of each group may be out in any week, of those in the fleet on the as-of date."""
    left = pd.to_datetime(boats["left_latest"])
    here = boats[left.isna() | (left > pd.Timestamp(as_of))]
    sizes = Counter(groups_of(here, settings).values())
    share = settings.plan.minimum_in_service
    most = {group: math.floor((1 - share) * size + 1e-9) for group, size in sorted(sizes.items())}
    for group, kept in settings.plan.kept_in_service.items():
        if kept > sizes.get(group, 0):
            raise _too_many_kept(group, kept, sizes, settings.plan.kept_by)
        most[group] = min(most[group], sizes[group] - kept)
    return most


def _too_many_kept(group: str, kept: int, sizes: Counter[str], by: str) -> UsageError:
    there = ", ".join(f"{word} {count}" for word, count in sorted(sizes.items()))
    return UsageError(
        f"the plan cannot keep {kept} boats of {group} in service: there are {sizes.get(group, 0)}",
        where=f"setting plan.kept_in_service.{group} = {kept}; boats by {by}: {there}",
        remedy="lower the number, or name a group that there is (plan.kept_by says what makes a group)",
    )


def _word(service: Any) -> str:
    return "not_stated" if pd.isna(service) else str(service)


def _day(value: Any) -> date:
    return pd.Timestamp(value).date()
