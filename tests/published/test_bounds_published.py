"""Bounds and decisions against published theory."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from bobstay import bounds
from bobstay.replacement import age_replacement


@pytest.mark.parametrize(
    ("seen", "tried", "lower", "upper"),
    [(0, 10, 0, 0.308497), (0, 30, 0, 0.115703), (1, 30, 0.000844, 0.172169), (3, 50, 0.012549, 0.165482)],
)
def test_p14_exact_binomial_two_sided(seen, tried, lower, upper):
    """Clopper and Pearson 1934 (computed): two-sided 95 % limits, 1e-6."""
    assert bounds.share_limits(seen, tried, cover=0.95) == (approx(lower, abs=1e-6), approx(upper, abs=1e-6))


def test_p14_exact_binomial_one_sided():
    """Clopper and Pearson 1934 (computed): .9^29 = .047101, so 29 of 29 show 90 % with 95 % confidence; upper
    limits of 0 of n.
    """
    assert approx(0.047101, abs=1e-6) == 0.9**29
    assert bounds.share_lower(29, 29, confidence=0.95) == approx(0.901855, abs=1e-6)
    upper = [bounds.share_upper(0, n, confidence=0.95) for n in (10, 30, 100)]
    assert upper == approx([0.258866, 0.095034, 0.029513], abs=1e-6)


def test_p14_tests_needed():
    """ECSS-E-ST-32-01C 10.4.2.1 for 29 of 29 (read); 59 and 299 by the same formula, share^n <= .05."""
    assert [bounds.tests_needed(share, confidence=0.95) for share in (0.9, 0.95, 0.99)] == [29, 59, 299]


def test_nothing_found_in_ten_allows_a_quarter():
    """Clopper and Pearson 1934 (computed): 0 of 10 leaves up to 26 %; with found = .7, up to 37 %."""
    assert bounds.cracked_upper(10, confidence=0.95) == approx(0.26, abs=0.005)
    assert bounds.cracked_upper(10, confidence=0.95, found=0.7) == approx(0.37, abs=0.005)


def test_p15_no_failures_with_the_shape_known():
    """Abernethy et al. 1983 (formula from memory; computed): ages 5 8 10 12 12 15, shape 2, 1e-6."""
    ages = [5, 8, 10, 12, 12, 15]
    limits = [bounds.scale_lower(ages, shape=2, confidence=c) for c in (0.5, 1 - np.exp(-1), 0.9, 0.95)]
    assert limits == approx([31.82408, 26.49528, 17.46066, 15.30795], abs=1e-5)


@pytest.mark.parametrize(
    ("shape", "ratio", "age", "rate"),
    [
        (2, 2, 1.090797, 2.181594), (2, 5, 0.510655, 4.085242), (2, 10, 0.336451, 6.056121),
        (2, 20, 0.230427, 8.756218),
        (2.5, 2, 0.883602, 2.076466), (2.5, 5, 0.493047, 3.462043), (2.5, 10, 0.354574, 4.750547),
        (2.5, 20, 0.262382, 6.384013),
    ],
)  # fmt: skip
def test_p16_age_replacement(shape, ratio, age, rate):
    """Barlow and Hunter 1960; Barlow and Proschan 1965 (model from memory; computed twice): unit scale and
    planned cost, 1e-6.
    """
    assert age_replacement(shape, 1, 1, ratio) == (approx(age, abs=1e-6), approx(rate, abs=1e-6))


@pytest.mark.parametrize("shape", [0.5, 0.9, 1.0])
def test_p16_replacing_a_part_that_does_not_age_never_pays(shape):
    """Theory: the hazard does not rise, so a new part is no better than an old one; the cost is that of
    running to failure.
    """
    from math import gamma

    assert age_replacement(shape, 7, 1, 20) == (np.inf, approx(20 / (7 * gamma(1 + 1 / shape)), rel=1e-12))
