"""What the look back at past seasons says, in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.report.words import known

if TYPE_CHECKING:
    from bobstay.report.fleet import Fleet, Row


def backtest_in_words(fleet: Fleet) -> str:
    """Return what the scored seasons say together; shares of the first tenth are weighed by their findings."""
    rows = fleet.tables["backtest"]
    ours = [r for r in rows if r["ranking"] == "estimate" and known(r["top_tenth_share"])]
    if not ours:
        return fleet.wording.say("backtest.lead_none")
    days = {r["origin"] for r in ours}
    by_age = [r for r in rows if r["ranking"] == "oldest_first" and r["origin"] in days]
    return fleet.wording.say(
        "backtest.lead",
        n=len(ours),
        found=sum(r["found"] for r in ours),
        looks=sum(r["looks"] for r in ours),
        expected=sum(r["expected"] for r in ours),
        share=_weighed(ours),
        age=_weighed(by_age),
    )


def _weighed(rows: list[Row]) -> float | None:
    told = [r for r in rows if known(r["top_tenth_share"]) and r["found"]]
    found = sum(r["found"] for r in told)
    return sum(r["top_tenth_share"] * r["found"] for r in told) / found if found else None
