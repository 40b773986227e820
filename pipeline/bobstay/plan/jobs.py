"""Jobs that pay, from the priority list and the prices."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.plan.record import NOT_STATED, Bundle, Job
from bobstay.settings import plain_word

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from bobstay.settings import Settings


@dataclass(frozen=True, slots=True)
class PriceList:
    """Money and hours by (fitting type, action) and by access, where the user gave them."""

    actions: dict[tuple[str, str], tuple[float | None, float | None]]
    accesses: dict[str, tuple[float | None, float | None]]
    settings: Settings

    def of_action(self, fitting_type: str, action: str) -> tuple[float, float]:
        """Return (money, hours) of a test or a renewal; an open indication is priced as a renewal."""
        word = "test" if action == "test" else "replace"
        costs, plan = self.settings.costs, self.settings.plan
        units, hours = (costs.test, plan.test_hours) if word == "test" else (costs.replace, plan.replace_hours)
        money, stated = self.actions.get((plain_word(fitting_type), word), (None, None))
        return (_or(money, units * plan.money_per_unit), _or(stated, hours))

    def of_access(self, access: str) -> tuple[float, float]:
        """Return (money, hours) of opening one access of one boat."""
        plan = self.settings.plan
        money, stated = self.accesses.get(access, (None, None))
        units = self.settings.costs.access.get(access, 0.0)
        return (_or(money, units * plan.money_per_unit), _or(stated, plan.access_hours.get(access, 0.0)))


def price_list(prices: pd.DataFrame, settings: Settings) -> PriceList:
    """Read `prices`; of two prices for one thing the first in the files counts."""
    actions: dict[tuple[str, str], tuple[float | None, float | None]] = {}
    accesses: dict[str, tuple[float | None, float | None]] = {}
    for row in prices.to_dict("records"):
        pair = (_number(row["cost"]), _number(row["hours"]))
        if pd.notna(row["access"]):
            accesses.setdefault(str(row["access"]), pair)
        elif pd.notna(row["fitting_type"]) and pd.notna(row["action"]):
            actions.setdefault((plain_word(str(row["fitting_type"])), str(row["action"])), pair)
    return PriceList(actions, accesses, settings)


def bundles_by_boat(
    priority: pd.DataFrame,
    prices: PriceList,
    as_of: date,
    *,
    fixed: dict[str, dict[str, str]] | None = None,
) -> dict[str, tuple[Bundle, ...]]:
    """Return, for each boat, the jobs that pay, by access; an access that its jobs together do not pay is left out.

    Jobs whose loss cannot be estimated cannot be weighed and are left out; renewals that a test may lead to are not
    in its price. `fixed` names jobs decided already, (boat, fitting) to action: they are kept whether they pay or not,
    and a boat with decisions is there even with no job.
    """
    decided = fixed or {}
    keys = {(boat, fitting) for boat, jobs in decided.items() for fitting in jobs}
    is_fixed = np.array(
        [key in keys for key in zip(priority["boat_id"], priority["fitting_id"], strict=True)], dtype=bool
    )
    rows = priority[((priority["action"] != "leave") & priority["loss_avoided"].notna()) | is_fixed]
    grouped: dict[str, dict[str, list[Job]]] = defaultdict(lambda: defaultdict(list))
    for row in rows.sort_values(["boat_id", "fitting_id"]).itertuples(index=False):
        action = decided.get(str(row.boat_id), {}).get(str(row.fitting_id), "")
        job = job_of(row, prices, as_of, action=action)
        if action or job.worth > 0:
            grouped[job.boat_id][job.access].append(job)
    made = {boat: _in_order(_paying(by_access, prices, keys)) for boat, by_access in grouped.items()}
    made |= {boat: made.get(boat, ()) for boat in decided}
    return {boat: bundles for boat, bundles in sorted(made.items()) if bundles or boat in decided}


def job_of(row: Any, prices: PriceList, as_of: date, *, action: str = "") -> Job:
    """Return the job of a priority row; `action` where somebody has decided on another than the one proposed."""
    plan = prices.settings.plan
    word = action or row.action
    cost, hours = prices.of_action(row.fitting_type, word)
    access = NOT_STATED if pd.isna(row.access) else str(row.access)
    own_cost = 0.0 if word == "act_now" else cost / plan.money_per_unit
    avoided = _avoided(row, word, prices.settings)
    weeks = 0.0 if word == "test" else lead_weeks(row.fitting_type, row.material, prices.settings)
    ready = as_of + timedelta(days=math.ceil(7 * weeks))
    return Job(row.boat_id, row.fitting_id, access, word, hours, cost, avoided, avoided - own_cost, ready)


def lead_weeks(fitting_type: str, material: str, settings: Settings) -> float:
    """Return how many weeks a new part takes to come: by type and material, by type, or as for all others."""
    stated = {plain_word(word): weeks for word, weeks in settings.plan.lead_weeks.items()}
    both = plain_word(f"{plain_word(fitting_type)}/{plain_word(material)}")
    return stated.get(both, stated.get(plain_word(fitting_type), settings.plan.lead_weeks_otherwise))


def _avoided(row: Any, action: str, settings: Settings) -> float:
    """Return the loss the action takes away: as the priority says, else all of it by a renewal and none by a test."""
    if action == row.action and pd.notna(row.loss_avoided):
        return float(row.loss_avoided)
    if action == "test" or pd.isna(row.expected_loss):
        return 0.0
    return float(row.expected_loss) * settings.costs.failure


def _paying(by_access: dict[str, list[Job]], prices: PriceList, fixed: set[tuple[str, str]]) -> Iterable[Bundle]:
    for access in sorted(by_access):
        cost, hours = prices.of_access(access)
        access_worth = cost / prices.settings.plan.money_per_unit
        jobs = tuple(sorted(by_access[access], key=lambda job: (-_density(job), job.fitting_id)))
        bundle = Bundle(access, hours, cost, access_worth, jobs)
        if bundle.worth > 0 or any((job.boat_id, job.fitting_id) in fixed for job in jobs):
            yield bundle


def _in_order(bundles: Iterable[Bundle]) -> tuple[Bundle, ...]:
    return tuple(sorted(bundles, key=lambda bundle: (-bundle.worth_an_hour, bundle.access)))


def _density(job: Job) -> float:
    return job.worth / max(job.hours, 1e-6)


def _or(stated: float | None, default: float) -> float:
    return default if stated is None else stated


def _number(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)
