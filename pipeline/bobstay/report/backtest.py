"""What the look back at past seasons says, in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bobstay.report.fleet import Fleet


def backtest_in_words(fleet: Fleet) -> str:
    """Return what the scored seasons say together, by the estimate's order and by age alone."""
    verdicts = {r["ranking"]: r for r in fleet.tables["backtest_verdict"]}
    if not verdicts:
        return fleet.wording.say("backtest.lead_none")
    ours = verdicts["estimate"]
    return fleet.wording.say(
        "backtest.lead",
        n=ours["origins"],
        found=ours["found"],
        looks=ours["looks"],
        expected=ours["expected"],
        share=ours["top_tenth_share"],
        age=verdicts["oldest_first"]["top_tenth_share"],
    )
