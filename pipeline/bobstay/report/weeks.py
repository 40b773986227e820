"""The haul-out plan as weeks against slots: who comes out where, and what room is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date

    from bobstay.report.boats import Boat
    from bobstay.report.fleet import Fleet, Row


@dataclass(frozen=True, slots=True)
class Visit:
    """One boat in one slot of one week with her jobs."""

    boat: Boat
    slot_id: str
    starts_on: date
    jobs: list[Row]

    @property
    def hours(self) -> float:
        """Hours of work of her jobs, accesses left out."""
        return float(sum(j["hours"] for j in self.jobs))

    @property
    def cost(self) -> float:
        """Money for her jobs, accesses left out."""
        return float(sum(j["cost"] for j in self.jobs))

    @property
    def loss_avoided(self) -> float:
        """Expected loss her jobs take away, cost units."""
        return float(sum(j["loss_avoided"] for j in self.jobs))

    @property
    def accesses(self) -> list[str]:
        """What must be done to reach the parts, each once."""
        return sorted({j["access"] for j in self.jobs})


@dataclass(frozen=True, slots=True)
class Cell:
    """One slot in one week: what it holds and who is in it."""

    boats_max: int
    visits: list[Visit]

    @property
    def free(self) -> int:
        """Places left."""
        return max(0, self.boats_max - len(self.visits))


@dataclass(frozen=True, slots=True)
class Week:
    """One first day with a cell for each slot; None where the slot is not open."""

    starts_on: date
    cells: list[Cell | None]


def visits_of(boats: list[Boat]) -> list[Visit]:
    """Return the visits of the plan in the order of their days."""
    made: dict[tuple[date, str, str], Visit] = {}
    for boat in boats:
        for job in boat.jobs:
            key = (job["starts_on"], job["slot_id"], boat.boat_id)
            made.setdefault(key, Visit(boat, job["slot_id"], job["starts_on"], [])).jobs.append(job)
    return [made[key] for key in sorted(made)]


def weeks_of(fleet: Fleet, visits: list[Visit]) -> tuple[list[str], list[Week]]:
    """Return the slots and, week by week, what each holds."""
    room = {(s["starts_on_earliest"], s["slot_id"]): s["boats_max"] or 0 for s in fleet.slots}
    room |= {(v.starts_on, v.slot_id): room.get((v.starts_on, v.slot_id), 0) for v in visits}
    slots = sorted({slot for _, slot in room})
    days = sorted({day for day, _ in room if day is not None})
    return slots, [Week(day, [_cell(room, visits, day, slot) for slot in slots]) for day in days]


def _cell(room: dict[tuple[date, str], int], visits: list[Visit], day: date, slot: str) -> Cell | None:
    if (day, slot) not in room:
        return None
    return Cell(room[day, slot], [v for v in visits if v.starts_on == day and v.slot_id == slot])
