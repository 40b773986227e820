"""Jobs that pay, from the priority list and the prices."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from bobstay.plan.record import NOT_STATED, Bundle, Job

if TYPE_CHECKING:
    from collections.abc import Iterable

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
        money, stated = self.actions.get((_plain(fitting_type), word), (None, None))
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
            actions.setdefault((_plain(str(row["fitting_type"])), str(row["action"])), pair)
    return PriceList(actions, accesses, settings)


def bundles_by_boat(priority: pd.DataFrame, prices: PriceList) -> dict[str, tuple[Bundle, ...]]:
    """Return, for each boat, the jobs that pay, by access; an access that its jobs together do not pay is left out.

    Jobs whose loss cannot be estimated cannot be weighed and are left out; renewals that a test may lead to are not
    in its price.
    """
    rows = priority[(priority["action"] != "leave") & priority["loss_avoided"].notna()]
    grouped: dict[str, dict[str, list[Job]]] = defaultdict(lambda: defaultdict(list))
    for row in rows.sort_values(["boat_id", "fitting_id"]).itertuples(index=False):
        job = _job(row, prices)
        if job.worth > 0:
            grouped[job.boat_id][job.access].append(job)
    made = {boat: _in_order(_paying(by_access, prices)) for boat, by_access in grouped.items()}
    return {boat: bundles for boat, bundles in made.items() if bundles}


def _job(row: Any, prices: PriceList) -> Job:
    cost, hours = prices.of_action(row.fitting_type, row.action)
    access = NOT_STATED if pd.isna(row.access) else str(row.access)
    own_cost = 0.0 if row.action == "act_now" else cost / prices.settings.plan.money_per_unit
    avoided = float(row.loss_avoided)
    return Job(row.boat_id, row.fitting_id, access, row.action, hours, cost, avoided, avoided - own_cost)


def _paying(by_access: dict[str, list[Job]], prices: PriceList) -> Iterable[Bundle]:
    for access in sorted(by_access):
        cost, hours = prices.of_access(access)
        access_worth = cost / prices.settings.plan.money_per_unit
        jobs = tuple(sorted(by_access[access], key=lambda job: (-_density(job), job.fitting_id)))
        bundle = Bundle(access, hours, cost, access_worth, jobs)
        if bundle.worth > 0:
            yield bundle


def _in_order(bundles: Iterable[Bundle]) -> tuple[Bundle, ...]:
    return tuple(sorted(bundles, key=lambda bundle: (-bundle.worth_an_hour, bundle.access)))


def _density(job: Job) -> float:
    return job.worth / max(job.hours, 1e-6)


def _or(stated: float | None, default: float) -> float:
    return default if stated is None else stated


def _number(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)


def _plain(word: str) -> str:
    return " ".join(word.replace("_", " ").lower().split())
