"""The small chart of what shortcuts claim: an axis that stays readable whatever a reading claims.

Source: worked out by hand; fuzzed fleets met claims of more than ten thousand million years.
"""

from __future__ import annotations

import pytest

from bobstay.report.checks import EDGE, LONGEST, WIDTH, _marks
from bobstay.settings import Words
from bobstay.wording import wording_of


def claim(at, low, high):
    return {"b10_years": at, "b10_years_lower": low, "b10_years_upper": high}


def test_a_reading_of_ages_beyond_reason_leaves_the_others_readable():
    marks, ticks = _marks([claim(8.0, 5.0, 12.0), claim(50.0, 4.0, 7e13), claim(3e8, 2e8, float("inf"))])
    assert ticks[0] == (EDGE, 0)
    assert ticks[-1] == (EDGE + WIDTH, LONGEST)
    assert (marks[0].at, marks[0].high, marks[0].goes_on) == (EDGE + 24, EDGE + 36, False)
    assert (marks[1].at, marks[1].high, marks[1].goes_on) == (EDGE + 150, EDGE + WIDTH, True)
    assert (marks[2].at, marks[2].low, marks[2].goes_on) == (None, EDGE + WIDTH, True)


@pytest.mark.parametrize(("longest", "end"), [(0.4, 1), (5.5, 6), (6.0, 7), (12.0, 14), (60.0, 70), (99.9, 100)])
def test_the_axis_ends_just_beyond_the_longest_claim(longest, end):
    marks, ticks = _marks([claim(longest / 2, None, None), claim(longest / 3, longest / 4, longest)])
    assert ticks[-1] == (EDGE + WIDTH, end)
    assert (marks[0].low, marks[0].goes_on) == (None, False)


def test_without_a_number_there_is_no_chart():
    assert _marks([claim(None, None, None)]) == ([], [])


def test_an_age_beyond_reason_is_no_row_of_digits():
    forms = wording_of(Words()).forms
    assert (forms.years(1000.0), forms.years(1000.4), forms.years_between(3.0, 9e12)) == ("1000", ">1000", "3–>1000")
