"""What the ages of a class rest on, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bobstay.bounds import share_upper
from bobstay.guidance.shown import needed_in_words
from bobstay.told import percent

if TYPE_CHECKING:
    from bobstay.guidance.advice import Advice, Standing
    from bobstay.settings import Rates, Settings


def binding(advice: Advice) -> str:
    """Return which rule set each age."""
    if advice.source == "none":
        return f"test from: {advice.test.rule}; retest: {advice.again.rule}; renew: none"
    return f"test from: {advice.test.rule}; retest: {advice.again.rule}; renew: {advice.renew.rule}"


def assumption(row: Any, standing: Standing, advice: Advice, settings: Settings, usual: Rates) -> str:
    """Return what the ages of one class assume, and how far its records reach; `usual`: rates of the usual test."""
    needed = needed_in_words(standing.found_count, standing.looked_count, shows=usual.found)
    parts = [
        _source(row, standing, advice),
        needed,
        _limits(standing, settings),
        _growth(advice),
        _broken(advice),
        _reach(row, advice),
    ]
    return " ".join(filter(None, parts))


def _source(row: Any, standing: Standing, advice: Advice) -> str:
    if advice.source == "own":
        thin = " They are few: read the ranges, not the ages." if row.evidence == "thin" else ""
        return f"Ages are the cautious ends of their ranges, from the class's own records.{thin}"
    bound = _bound(standing)
    if advice.source == "borrowed":
        return f"{bound} The ages are borrowed from like classes and are interim."
    if advice.source == "interim":
        return f"{bound} No curve can be drawn for this class: the ages are those of {advice.lender} and are interim."
    return (
        f"{bound} No age can be set from these records: the first test is the interim default of the settings, a "
        "cautious guess. Look at the oldest of them first."
    )


def _bound(standing: Standing) -> str:
    """Say the demonstrated bound: 95 %, one-sided, exact binomial (Clopper and Pearson 1934)."""
    looked, found = standing.looked_count, standing.found_count
    if looked == 0:
        return "None of this class has been looked at in a way that counts."
    upper = share_upper(found, looked, confidence=0.95)
    return f"{found} of {looked} looked at showed an indication: up to {np.ceil(upper * 100):.0f} % may have one."


def _limits(standing: Standing, settings: Settings) -> str:
    test = settings.guidance.test_limit[standing.consequence]
    renew = settings.guidance.replace_limit[standing.consequence]
    limits = f"test {test * 100:g} %, renew {renew * 100:g} %"
    return f"The limits ({limits}) are settings of consequence class {standing.consequence}."


def _growth(advice: Advice) -> str:
    if advice.again.rule.startswith("least cost"):
        return (
            "How fast a crack grows is not in the records: the time to the next test is the cheapest by an assumed "
            "growth and the costs set."
        )
    if advice.again.rule.startswith("half"):
        return "How fast a crack grows is not in the records: the time to the next test rests on an assumed growth."
    return "The time to the next test takes the last one to have missed nothing; older parts need it shorter."


def _broken(advice: Advice) -> str:
    if not advice.failure_chance >= 0:
        return ""
    return (
        f"Tested so, {percent(advice.failure_chance)} of parts would break before their crack is found, if it grows so."
    )


def _reach(row: Any, advice: Advice) -> str:
    if not advice.is_beyond:
        return ""
    if pd.isna(row.oldest_years):
        return "Too few lives are at risk at any age to say how far the records reach."
    end = f"The records reach {row.oldest_years:.1f} years"
    if advice.is_capped:
        return f"{end}: the curve would allow more, but nothing older has been seen, so the age is set there."
    if advice.source == "own":
        return f"{end}: upper ends beyond that rest on the curve alone."
    return f"{end}: what lies beyond rests on no part seen in this class."
