"""What may be done about each fitting, and which way is chosen."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from bobstay.rank.choice import Choice, Stakes, next_best, weigh
from bobstay.rank.words import GRAVE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from bobstay.settings import Rates, Settings

    Offer = list[tuple[str, str]]
    RatesByPair = Mapping[tuple[str, str], Rates]

_COLUMNS = [
    *("action", "method", "scope", "loss_avoided", "loss_avoided_lower", "loss_avoided_upper"),
    *("expected_cost", "runner_up", "runner_up_method", "margin"),
]


def chosen(
    frame: pd.DataFrame, offers: dict[str, Offer], settings: Settings, as_of: date, *, rates: RatesByPair
) -> pd.DataFrame:
    """Return action, method, scope, loss avoided with its bounds, and the next best way, of each row of `frame`.

    `frame` has `ruled`: what an outside rule that is due asks for (test, replace, or None), whatever it costs.
    `offers`: the methods to choose from for each type, "" for any other, as from `methods_offered`.
    """
    share = access_share(frame, settings)
    parts = [
        _chosen_of_type(rows, offers.get(str(kind), offers[""]), share, settings, as_of, rates=rates)
        for kind, rows in frame.groupby("fitting_type", sort=True)
    ]
    return pd.concat(parts) if parts else pd.DataFrame(columns=_COLUMNS, index=frame.index)


def methods_used(lives: pd.DataFrame, looks: pd.DataFrame) -> pd.DataFrame:
    """Return each fitting_type, method and scope of the looks that counted, once."""
    counted = looks.loc[looks["grade"].isin(["valid", "not_stated"]), ["life_id", "method", "scope"]].drop_duplicates()
    kinds = lives.set_index("life_id")["fitting_type"]
    used = counted.assign(fitting_type=counted["life_id"].map(kinds))
    return used[["fitting_type", "method", "scope"]].dropna().drop_duplicates()


def methods_offered(used: pd.DataFrame, settings: Settings) -> dict[str, Offer]:
    """Return the (method, scope) pairs the fleet has used on each type; under "" those it has used at all.

    `used` as from `methods_used`. A fleet without one look that counts is offered every method in the settings.
    """
    offers: dict[str, Offer] = {"": sorted(settings.detection)}
    for kind, method, scope in sorted(zip(used["fitting_type"], used["method"], used["scope"], strict=True)):
        offers.setdefault(str(kind), []).append((method, scope))
    every = sorted({pair for kind, pairs in offers.items() if kind for pair in pairs})
    return offers | {"": every or offers[""]}


def access_share(frame: pd.DataFrame, settings: Settings) -> pd.Series[float]:
    """Return each fitting's share of its access cost: shared by the boat's fittings that need the same access."""
    sharing = frame.groupby(["boat_id", "access"])["life_id"].transform("size")
    return (frame["access"].map(settings.costs.access).astype("float64") / sharing).fillna(0.0)


def stakes_of(rows: pd.DataFrame, share: pd.Series[float]) -> Stakes:
    """Return what is at stake at each row: columns chance, chance_now, units; `share` as from `access_share`."""
    chance = rows["chance"].to_numpy(np.float64)
    now = rows["chance_now"].fillna(rows["chance"]).to_numpy(np.float64)
    return Stakes(chance, now, rows["units"].to_numpy(np.float64), np.asarray(share[rows.index], dtype=np.float64))


def _at_end(stakes: Stakes, end: pd.Series[float]) -> Stakes:
    """Return the stakes were each chance at this end of its interval; the chance by now moves as far in its logit.

    Own reckoning, no published source.
    """
    there = end.to_numpy(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        moved = expit(logit(stakes.chance_now) + logit(there) - logit(stakes.chance))
    now = np.where(np.isnan(moved), np.minimum(stakes.chance_now, there), np.minimum(moved, there))
    return replace(stakes, chance=np.asarray(there, dtype=np.float64), chance_now=np.asarray(now, dtype=np.float64))


def _chosen_of_type(
    rows: pd.DataFrame,
    offer: Offer,
    share: pd.Series[float],
    settings: Settings,
    as_of: date,
    *,
    rates: RatesByPair,
) -> pd.DataFrame:
    stakes = stakes_of(rows, share)
    weighed = weigh(stakes, [rates[pair] for pair in offer], settings.costs)
    action = _actions(rows, weighed, settings, as_of)
    numbers = _methods(weighed, offer, rates, stakes.chance)
    pairs = [offer[i] if way == "test" else (None, None) for i, way in zip(numbers, action, strict=True)]
    avoided = [
        _loss_avoided(action, at, weighed, settings.costs.failure)
        for at in (stakes, _at_end(stakes, rows["chance_lower"]), _at_end(stakes, rows["chance_upper"]))
    ]
    columns = [
        action,
        [m for m, _ in pairs],
        [s for _, s in pairs],
        *avoided,
        *_compared(action, numbers, weighed, offer),
    ]
    return pd.DataFrame(dict(zip(_COLUMNS, columns, strict=True)), index=rows.index)


def _compared(
    action: NDArray[np.object_], numbers: NDArray[np.int64], weighed: Choice, offer: Offer
) -> tuple[NDArray[np.float64], list[str | None], list[str | None], NDArray[np.float64]]:
    """Return the expected cost of the way chosen, the next best way with its method, and how much dearer it is.

    Nothing is weighed of an open indication, nor where no chance is known.
    """
    way = np.select([action == "leave", action == "replace"], [0, 1], 2 + numbers)
    second, margin = next_best(weighed.ways, way)
    blank = np.isnan(margin) | (action == "act_now")
    names = ["leave", "replace", *("test" for _ in offer)]
    methods: list[str | None] = [None, None, *(f"{method}, {scope}" for method, scope in offer)]
    cost = weighed.ways[way, np.arange(len(way))]
    ups = [None if empty else names[i] for i, empty in zip(second, blank, strict=True)]
    hows = [None if empty else methods[i] for i, empty in zip(second, blank, strict=True)]
    return np.where(blank, np.nan, cost), ups, hows, np.where(blank, np.nan, margin)


def _methods(weighed: Choice, offer: Offer, rates: RatesByPair, chance: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the number of the method to use: the cheapest, or the surest where no chance can be weighed."""
    surest = max(range(len(offer)), key=lambda i: rates[offer[i]].found)
    return np.where(np.isnan(chance), surest, weighed.method)


def _actions(rows: pd.DataFrame, weighed: Choice, settings: Settings, as_of: date) -> NDArray[np.object_]:
    ways = np.array(["leave", "test", "replace"], dtype=object)
    costs = np.stack([weighed.leave, weighed.test, weighed.replace])
    cheapest = ways[np.argmin(np.nan_to_num(costs, nan=np.inf), axis=0)]
    action = np.where(rows["chance"].isna(), _without_chance(rows, settings, as_of), cheapest)
    action = np.where((rows["ruled"] == "test") & (action == "leave"), "test", action)
    action = np.where(rows["ruled"] == "replace", "replace", action)
    return np.where(rows["acts"], "act_now", action)


def _without_chance(rows: pd.DataFrame, settings: Settings, as_of: date) -> NDArray[np.object_]:
    """Test a grave part that has no clear look that still counts; nothing else can be argued without a chance."""
    years_ago = (pd.Timestamp(as_of) - rows["clear_on"]).dt.days / 365.25
    looked = years_ago <= settings.guidance.clear_counts_years
    return np.where((rows["consequence"] >= GRAVE) & ~looked, "test", "leave").astype(object)


def _loss_avoided(action: NDArray[np.object_], stakes: Stakes, weighed: Choice, failure: float) -> NDArray[np.float64]:
    """Return the expected failure loss each action takes away, cost units (an open indication counts as a crack)."""
    certain = np.where(np.isnan(stakes.chance), 1.0, stakes.chance)
    share = np.select(
        [action == "act_now", action == "replace", action == "test"],
        [certain, stakes.chance, weighed.found * stakes.chance_now],
        0.0,
    )
    return np.asarray(share * failure * stakes.units, dtype=np.float64)
