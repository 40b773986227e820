"""Alerts about boats and yards: more findings than their looks lead one to expect, set against boats of their kind."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.alerts.batches import LEVEL
from bobstay.alerts.chance import clustered_tail
from bobstay.bounds import holm

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Rows = list[dict[str, Any]]

_KIND = ["water", "climate", "service"]  # what the estimate takes account of and the class's curve leaves out
_FEWEST_BOATS = 3  # of one kind, below which a boat is set against the whole fleet


def boats_and_yards(looked: pd.DataFrame, boats: pd.DataFrame, spread: float) -> Rows:
    """Return an alert for each boat, and for each home port, with more findings than expected (Holm, LEVEL).

    `looked`: looks with boat_id, is_shown and expected, as seasons.expected_looks makes them. What is expected of a
    kind of boats (water, climate, service) is scaled to what it showed, so that a boat is set against her like.
    `spread`: variance of a boat's own share of what is expected of her; a boat must stand out from that too.
    """
    if looked.empty:
        return []
    sums = looked.groupby("boat_id", sort=True).agg(
        seen=("is_shown", "sum"), expected=("expected", "sum"), looks=("is_shown", "size")
    )
    facts = boats.reindex(columns=["boat_id", *_KIND, "home_port"]).set_index("boat_id")
    frame = sums.join(facts, how="left").reset_index()
    frame["expected"] = frame["expected"] * _scale(frame)
    frame["variance"] = spread * frame["expected"] ** 2
    found = _raised("boat", frame.assign(subject=frame["boat_id"]), _boat_note)
    ports = frame.dropna(subset=["home_port"]).groupby("home_port", sort=True)
    yards = ports.agg(
        seen=("seen", "sum"),
        expected=("expected", "sum"),
        variance=("variance", "sum"),
        looks=("looks", "sum"),
        boats=("boat_id", "size"),
    )
    yards = yards[(yards["boats"] > 1) & (yards["boats"] < len(frame))].reset_index()
    return found + _raised("yard", yards.assign(subject=yards["home_port"]), _yard_note)


def _scale(frame: pd.DataFrame) -> pd.Series[float]:
    """Return for each boat what her kind showed over what was expected of it; the whole fleet's share for a few."""
    kinds = frame[_KIND].astype(object).fillna("not stated").astype(str).agg("|".join, axis=1)
    grouped = frame.groupby(kinds)
    seen, expected = grouped["seen"].transform("sum"), grouped["expected"].transform("sum")
    size = grouped["boat_id"].transform("size")
    whole = frame["seen"].sum() / max(frame["expected"].sum(), 1e-9)
    ratio: pd.Series[float] = (seen / expected.clip(lower=1e-9)).where(size >= _FEWEST_BOATS, whole)
    return ratio.clip(lower=min(1.0, whole))


def _raised(kind: str, frame: pd.DataFrame, note: Callable[[Any], str]) -> Rows:
    rows: list[Any] = list(frame.itertuples(index=False))
    p_values = np.array([clustered_tail(int(row.seen), row.expected, row.variance) for row in rows])
    return [
        {
            "kind": kind,
            "subject": f"{kind} {row.subject}",
            "seen": float(row.seen),
            "expected": float(row.expected),
            "p_value": float(p),
            "p_adjusted": float(q),
            "note": note(row),
        }
        for row, p, q in zip(rows, p_values, holm(p_values), strict=True)
        if q <= LEVEL
    ]


def _boat_note(row: Any) -> str:
    return (
        f"{row.seen} findings in {row.looks} looks, where {row.expected:.1f} would be expected of a boat of her kind. "
        "Ask what she has met: a bad berth, stray current, a rig set up too hard; look at her other parts first."
    )


def _yard_note(row: Any) -> str:
    return (
        f"{row.seen} findings in {row.looks} looks on the {row.boats} boats that lie there, where {row.expected:.1f} "
        "would be expected of boats of their kind. Ask what they share: a yard, its hands, the water, who looked."
    )
