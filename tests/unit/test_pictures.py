"""The pictures of the guide's method page, and the numbers its sentences give: worked out anew, never typed in.

Source: the project's own functions, each of which is held to published values elsewhere.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from bobstay.bench import pictures
from bobstay.bench.pictures import DYE, EYE, PICTURES, TITLES
from bobstay.rank.choice import Stakes, weigh
from bobstay.settings import Costs, Rates, Settings

REPORTS = Path(__file__).parents[2] / "reports"
PAGE = " ".join((REPORTS / "guide" / "method.md").read_text(encoding="utf-8").split())


@pytest.mark.parametrize("name", PICTURES)
def test_each_picture_is_drawn_with_marks_and_title_and_stands_on_the_page(name):
    drawn = PICTURES[name]()
    kept = (REPORTS / "pictures" / f"method_{name}.svg").read_text(encoding="utf-8")
    for svg in (drawn, kept):
        assert f"<title>{TITLES[name]}</title>" in svg
        assert len(re.findall(r"<path ", svg)) > 5
    assert f"![{TITLES[name]}](../pictures/method_{name}.svg)" in PAGE


def percent(chance: float) -> str:
    return f"{100 * chance:.0f}"


def test_the_page_says_what_clear_looks_leave():
    told = {count: (pictures.still_there(count, EYE), pictures.still_there(count, DYE)) for count in (0, 1, 3)}
    assert f"with a chance of {percent(told[0][0])} %" in PAGE
    assert f"One look by eye leaves {percent(told[1][0])} %, one penetrant test {percent(told[1][1])} %" in PAGE
    assert f"three looks by eye, a year apart, still leave {percent(told[3][0])} %" in PAGE


def test_one_clear_look_is_bayes_rule():
    """P(crack | clear) = F (1 - found) / (F (1 - found) + 1 - F), with F of the Weibull (textbook)."""
    cracked = 1 - np.exp(-((15 / 25) ** 2.5))
    assert pictures.still_there(1, EYE) == pytest.approx(cracked * 0.7 / (cracked * 0.7 + 1 - cracked), rel=1e-9)


def test_the_page_says_where_the_cheapest_way_changes():
    chance = np.linspace(0, 0.4, 40_001)
    stakes = Stakes(chance, chance, np.full_like(chance, pictures.CONSEQUENCE_UNITS), np.zeros_like(chance))
    made = weigh(stakes, [Rates(found=DYE, false_call=pictures.FALSE_CALL)], Costs())
    best = np.argmin(np.stack([made.leave, made.test, made.replace]), axis=0)
    low, high = chance[np.flatnonzero(np.diff(best))]
    assert f"cheapest below a chance of {100 * low:.1f} %, renewing it above {percent(high)} %" in PAGE


def test_the_page_says_how_many_parts_break_between_tests():
    dye, eye = (pictures.breaks(2.0, found) for found in (DYE, EYE))
    assert f"lets {percent(dye)} of 100 parts break" in PAGE
    assert f"as often, {percent(eye)} of 100" in PAGE


def test_what_the_pictures_assume_is_what_the_settings_assume():
    settings = Settings()
    assert settings.guidance.growth_years_otherwise == pictures.GROWTH_YEARS
    assert settings.guidance.growth_spread == pictures.GROWTH_SPREAD
    assert settings.costs.failure == pytest.approx(0.3)
