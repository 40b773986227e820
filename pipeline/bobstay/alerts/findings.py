"""Alerts about single fittings and about the records: open indications, sisters, clear after indication, follow-up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    Rows = list[dict[str, Any]]

GRAVE = 4  # consequence classes whose sisters are named
FOLLOWED_UP_MIN = 0.1  # below this share the rates of detection cannot be told from the records
_NAMED = 12  # sisters named before the rest are only counted


def open_indications(lives: pd.DataFrame) -> Rows:
    """Return an alert for each open indication; of grave parts the sisters are counted and named."""
    found = lives[lives["is_in_service"].astype(bool) & lives["open_indication_on"].notna()]
    return [
        {
            "kind": "open_indication",
            "subject": place(row),
            "seen": 1.0,
            "note": f"{_part(row)}: an indication stands open since {_day(row.open_indication_on)}. "
            f"Take it out of use until it is followed up.{_sisters_of(row, lives)}",
        }
        for row in found.itertuples(index=False)
    ]


def sisters(lives: pd.DataFrame, looks: pd.DataFrame, since: pd.Timestamp) -> Rows:
    """Return an alert for each grave part with a crack confirmed since `since`, naming its sisters in service."""
    confirmed = looks[(looks["shows"] == "indication") & (looks["verdict"] == "confirmed") & (looks["look_on"] > since)]
    first = confirmed.sort_values(["life_id", "look_on"]).drop_duplicates("life_id")[["life_id", "look_on"]]
    cracked = lives.merge(first, on="life_id", how="inner", validate="one_to_one")
    return [
        {
            "kind": "sisters",
            "subject": place(row),
            "seen": 1.0,
            "note": f"{_part(row)}: crack confirmed on {_day(row.look_on)}.{_sisters_of(row, lives)}",
        }
        for row in cracked[cracked["consequence"] >= GRAVE].itertuples(index=False)
    ]


def clear_after_indication(lives: pd.DataFrame, looks: pd.DataFrame) -> Rows:
    """Return an alert for each part in service that was found clear after an indication, with nothing replaced."""
    known = lives[lives["is_in_service"].astype(bool) & lives["open_indication_on"].notna()]
    mine = looks[looks["shows"].eq("clear") & looks["grade"].isin(["valid", "not_stated"])]
    both = known.merge(mine[["life_id", "look_on"]], on="life_id", how="inner", validate="one_to_many")
    later = both[both["look_on"] > both["open_indication_on"]]
    counts = later.groupby("life_id", sort=True).agg(looks=("look_on", "size"), newest=("look_on", "max"))
    rows: list[Any] = list(known.join(counts, on="life_id", how="inner", validate="one_to_one").itertuples(index=False))
    return [
        {
            "kind": "clear_after_indication",
            "subject": place(row),
            "seen": float(row.looks),
            "note": f"{_part(row)}: found clear on {_day(row.newest)} after the indication of "
            f"{_day(row.open_indication_on)}, and nothing was replaced. The indication stays open: "
            "write down who called it unfounded and why, or renew the part.",
        }
        for row in rows
    ]


def follow_up(looks: pd.DataFrame) -> Rows:
    """Return an alert where fewer than one finding in ten has a disposition."""
    found = looks[looks["shows"] == "indication"]
    followed = int(found["verdict"].isin(["confirmed", "unfounded"]).sum())
    if len(found) == 0 or followed >= FOLLOWED_UP_MIN * len(found):
        return []
    note = (
        f"{followed} of {len(found)} findings say whether the crack was real. Without follow-up, cracks and false "
        "calls cannot be told apart: the rates of detection stay near their settings and ages may come out too high."
    )
    expected = FOLLOWED_UP_MIN * len(found)
    return [
        {"kind": "follow_up", "subject": "all findings", "seen": float(followed), "expected": expected, "note": note}
    ]


def orphan_rows(orphans: pd.DataFrame | None) -> Rows:
    """Return an alert where looks fall into no part's service (after a removal, before a new part)."""
    if orphans is None or orphans.empty:
        return []
    boats = ", ".join(sorted(set(orphans["boat_id"].astype(str)))[:_NAMED])
    note = f"{len(orphans)} looks name a place with no part in it on that day and count for no part (boats {boats})."
    return [{"kind": "orphan_rows", "subject": "looks without a part", "seen": float(len(orphans)), "note": note}]


def place(row: Any) -> str:
    """Return the boat and the place on it."""
    return f"{row.boat_id} / {row.fitting_id}"


def _part(row: Any) -> str:
    return f"{row.fitting_type} of {row.material}, consequence class {row.consequence}"


def _sisters_of(row: Any, lives: pd.DataFrame) -> str:
    """Name the same type on boats of the same design, and count the same class in the fleet."""
    if row.consequence < GRAVE:
        return ""
    others = lives[lives["is_in_service"].astype(bool) & (lives["life_id"] != row.life_id)]
    same_type = others[others["fitting_type"] == row.fitting_type]
    in_class = int((same_type["material"] == row.material).sum())
    alike = same_type[same_type["design"] == row.design] if pd.notna(row.design) else same_type.iloc[:0]
    text = f" Its sisters: {in_class} of the same type and material in service in the fleet"
    return f"{text}{_named(alike, row)}."


def _named(alike: pd.DataFrame, row: Any) -> str:
    if alike.empty:
        return ""
    names = [place(sister) for sister in alike.sort_values(["boat_id", "fitting_id"]).itertuples(index=False)]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return f"; same type on boats of the same design ({row.design}): {', '.join(names[:_NAMED])}{more}"


def _day(value: Any) -> str:
    return str(pd.Timestamp(value).date())
