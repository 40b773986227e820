"""The haul-out plan as a calendar file: an event a boat and week, known again by its UID when the plan moves it."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from typing import TYPE_CHECKING, Any

from bobstay.papers.worksheets import to_do
from bobstay.told import visible

if TYPE_CHECKING:
    from collections.abc import Sequence

    import icalendar

    from bobstay.papers.source import Source
    from bobstay.report.fleet import Row

_WEEK = timedelta(days=7)


def plan_calendar(source: Source, jobs: Sequence[Row]) -> bytes:
    """Return the calendar (RFC 5545) of `jobs`, the rows of the haul-out plan by boat and day; no clock is in it."""
    import icalendar

    calendar = icalendar.Calendar()
    calendar.add("prodid", "-//Bobstay//haul-out plan//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", source.say("calendar.title"))
    names = {boat.boat_id: boat.name for boat in source.boats}
    ordered = sorted(jobs, key=lambda job: (job["boat_id"], job["starts_on"], job["slot_id"], job["fitting_id"]))
    for boat_id, own in groupby(ordered, key=lambda job: job["boat_id"]):
        visits = groupby(own, key=lambda job: (job["starts_on"], job["slot_id"]))
        for number, ((day, slot), done) in enumerate(visits, start=1):
            uid = _uid(source, boat_id, number)
            title = source.say("calendar.visit", boat=names.get(boat_id, boat_id), slot=slot)
            calendar.add_component(_event(source, uid, title, day, list(done)))
    return bytes(calendar.to_ical())


def _event(source: Source, uid: str, title: str, day: date, jobs: list[Row]) -> icalendar.Event:
    import icalendar

    told = [source.say("calendar.job", fitting=job["fitting_id"], do=to_do(source, job)) for job in jobs]
    event = icalendar.Event()
    fields: dict[str, Any] = {
        "uid": uid,
        "dtstamp": datetime(source.as_of.year, source.as_of.month, source.as_of.day, tzinfo=UTC),
        "dtstart": day,
        "dtend": day + _WEEK,
        "summary": title,
        "description": "\n".join([*told, "", f"{source.invented} {source.caution}".strip()]),
        "transp": "TRANSPARENT",
    }
    for name, value in fields.items():
        event.add(name, visible(value) if isinstance(value, str) else value)
    return event


def _uid(source: Source, boat_id: str, number: int) -> str:
    """Name a boat's n-th visit of a plan's year: a visit that moves to another week stays the same event."""
    text = f"{source.fleet_mark}/{boat_id}/{source.as_of.year}/{number}"
    return f"{hashlib.sha256(text.encode()).hexdigest()[:32]}@bobstay"
