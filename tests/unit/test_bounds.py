"""Bounds without or with few events: edges and refusals."""

from __future__ import annotations

import pytest
from pytest import approx
from scipy.stats import binom

from bobstay import bounds
from bobstay.errors import EstimateError


@pytest.mark.parametrize(("seen", "tried"), [(1, 7), (3, 50), (6, 7)])
def test_limits_leave_just_their_share_in_the_tail(seen, tried):
    """Definition (Clopper and Pearson 1934): at the limit the tail of the binomial is 5 %."""
    assert binom.cdf(seen, tried, bounds.share_upper(seen, tried, confidence=0.95)) == approx(0.05, abs=1e-9)
    assert binom.sf(seen - 1, tried, bounds.share_lower(seen, tried, confidence=0.95)) == approx(0.05, abs=1e-9)


def test_none_and_all_reach_the_ends():
    assert bounds.share_lower(0, 5, confidence=0.9) == 0
    assert bounds.share_upper(5, 5, confidence=0.9) == 1


def test_a_poor_test_shows_less_but_never_more_than_all():
    assert bounds.cracked_upper(3, confidence=0.95, found=0.3) == 1.0


@pytest.mark.parametrize("shape", [1, 2, 3.5])
def test_the_limit_of_scale_is_where_so_long_without_an_event_has_the_chance_left(shape):
    """Definition: at the limit the chance that all lives outlast their ages is 1 - confidence."""
    from math import exp

    ages = [2, 3, 10, 0.5]
    scale = bounds.scale_lower(ages, shape=shape, confidence=0.9)
    assert exp(-sum((a / scale) ** shape for a in ages)) == approx(0.1, rel=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: bounds.share_upper(3, 2, confidence=0.9),
        lambda: bounds.share_lower(0, 0, confidence=0.9),
        lambda: bounds.share_upper(1, 2, confidence=1.0),
        lambda: bounds.tests_needed(1.0, confidence=0.95),
        lambda: bounds.cracked_upper(5, confidence=0.95, found=0),
        lambda: bounds.scale_lower([], shape=2, confidence=0.9),
        lambda: bounds.scale_lower([0, 0], shape=2, confidence=0.9),
        lambda: bounds.scale_lower([1], shape=0, confidence=0.9),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(EstimateError):
        call()
