"""What a plan is made of, and what comes out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

WEEK_DAYS = 7
NOT_STATED = "not_stated"  # the access of a fitting whose access nobody wrote down: any slot will do


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan and what follows from it: `tables.HAUL_PLAN`, PLAN_SUMMARY, PLAN_CURVE, DEFERRED and PARTS."""

    haul_plan: pd.DataFrame
    plan_summary: pd.DataFrame
    plan_curve: pd.DataFrame
    deferred: pd.DataFrame
    parts: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to do on one fitting; cost in money, worth and avoided in cost units."""

    boat_id: str
    fitting_id: str
    access: str
    action: str
    hours: float
    cost: float
    avoided: float  # expected failure loss it takes away
    worth: float  # avoided less its own cost; of an open indication, that must be followed up anyway, all it avoids
    ready_on: date = date.min  # from this day on its part can be there


@dataclass(frozen=True, slots=True)
class Bundle:
    """The jobs of one boat behind one access, which is paid once; worth most for their hours first."""

    access: str
    hours: float
    cost: float
    access_worth: float  # what the access costs, in cost units
    jobs: tuple[Job, ...]

    @property
    def worth(self) -> float:
        """Return what all its jobs are worth, less its access."""
        return sum(job.worth for job in self.jobs) - self.access_worth

    @property
    def worth_an_hour(self) -> float:
        """Return what an hour on this bundle is worth."""
        return self.worth / max(self.hours + sum(job.hours for job in self.jobs), 1e-9)


@dataclass(frozen=True, slots=True)
class Week:
    """One yard slot in one week; no accesses named means all are offered."""

    slot_id: str
    starts_on: date
    boats_max: int
    hours_max: float
    accesses: frozenset[str]
    marks: tuple[date, ...]  # first days of any week that fall into this one: where boats out of service are counted

    def offers(self, access: str) -> bool:
        """Say whether the slot offers `access` that week."""
        return not self.accesses or access == NOT_STATED or access in self.accesses


@dataclass(frozen=True, slots=True)
class Yard:
    """All that limits a plan: weeks, where each boat may go, how many of each group may be out, money and hours."""

    weeks: tuple[Week, ...]
    bundles: dict[str, tuple[Bundle, ...]]  # by boat, only what pays, worth most for its hours first
    free: dict[str, tuple[int, ...]]  # by boat: numbers of the weeks she is free
    reachable: dict[str, tuple[int, ...]]  # by boat: those of them in which some of her access is offered
    group: dict[str, str]  # by boat: of which so many are kept in service
    out_max: dict[str, int]  # by group
    budget: float
    hours: float
    access_max: dict[str, float]  # by access: boats a week that a slot can open it for
    fixed: dict[str, Visit]  # by boat: decisions taken already, which every plan keeps


@dataclass(frozen=True, slots=True)
class Visit:
    """One boat in one week with the jobs done there."""

    boat_id: str
    week: int
    jobs: tuple[Job, ...]
    hours: float  # accesses included
    cost: float
    avoided: float
    worth: float = 0.0  # avoided less what jobs and accesses cost, as the plan weighs it
