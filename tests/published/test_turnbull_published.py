"""Non-parametric estimates against published data."""

from __future__ import annotations

import numpy as np
from pytest import approx

from bobstay import turnbull


def test_p02_common_schedule_is_counting(checks):
    """Arithmetic on Nelson 1982, p. 415: with one common schedule F is the cumulative count / 167; 1e-5 absolute."""
    rows = checks("cracks167")
    made = turnbull.estimate(None, rows.lower, rows.upper, rows.count)
    ages = rows.upper[np.isfinite(rows.upper)]
    assert 1 - made.survival(ages) == approx(np.cumsum(rows.count[:-1]) / 167, abs=1e-9)
    assert 1 - made.survival(ages) == approx(
        [0.029940, 0.125749, 0.197605, 0.305389, 0.413174, 0.425150, 0.461078, 0.562874], abs=1e-6
    )


def test_p02_intervals_are_half_open(checks):
    """Arithmetic on the same data: S = .9701, .8743, .8024 at the first three ages; closed intervals give 1,
    .9408, .8060.
    """
    rows = checks("cracks167")
    made = turnbull.estimate(None, rows.lower, rows.upper, rows.count)
    assert made.survival([6.12, 19.92, 29.64]) == approx([0.9701, 0.8743, 0.8024], abs=5e-5)


def test_p05_product_limit_with_greenwood_errors(checks):
    """NIST/SEMATECH e-Handbook, code for 8.4.1.3 (read): S .95 .. .50 and Greenwood errors at the ten times, 1e-4."""
    rows = checks("nist20_first55")
    made = turnbull.estimate(None, rows.lower, rows.upper, rows.count)
    assert np.isfinite(made.upper).sum() == 10
    survival = made.survival(made.upper[:-1])
    assert survival == approx(np.arange(0.95, 0.49, -0.05), abs=1e-9)
    greenwood = survival * np.sqrt(made.hazard_variance[:-1])
    expected = [0.0487, 0.0671, 0.0798, 0.0894, 0.0968, 0.1025, 0.1067, 0.1095, 0.1112, 0.1118]
    assert greenwood == approx(expected, abs=1e-4)


def test_p09_interval_censored_patients(checks):
    """Finkelstein and Wolfe 1985; Fay and Shaw 2010, J. Stat. Software 36(2) (read; computed): masses to 1e-4."""
    rows = checks("cosmesis_rad")
    made = turnbull.estimate(None, rows.lower, rows.upper)
    expected = {
        (4, 5): 0.046347, (6, 7): 0.033363, (7, 8): 0.088667, (11, 12): 0.070753,
        (24, 25): 0.092646, (33, 34): 0.081786, (38, 40): 0.120880, (46, 48): 0.465558,
    }  # fmt: skip
    assert list(zip(made.lower, made.upper, strict=True)) == list(expected)
    assert made.mass == approx(list(expected.values()), abs=1e-5)
    assert made.log_likelihood == approx(-58.06002, abs=1e-5)
    assert made.is_converged


def test_p13b_product_limit_with_late_entry(psych):
    """Klein and Moeschberger 2003, psychiatric patients (data read; computed in five codes): 1e-6."""
    made = turnbull.estimate(psych.entry, psych.lower, psych.upper)
    expected = [0.952381, 0.909091, 0.865801, 0.783344, 0.696305, 0.609267, 0.553879, 0.484644, 0.290787, 0.0]
    assert made.survival([47, 50, 52, 57, 59, 61, 63, 67, 69, 76]) == approx(expected, abs=1e-6)
    assert made.survival([40, 46.9, 47.5]) == approx([1, 1, 0.952381], abs=1e-6)
