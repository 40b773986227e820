"""Imperfect detection against an independent likelihood: P17."""

from __future__ import annotations

import numpy as np
from pytest import approx
from scipy.optimize import minimize
from scipy.special import expit

from bobstay.detection import log_likelihood

AGES = [2, 4, 6, 8]


def fleet_log_likelihood(lives, shape, scale, found, false_call):
    return sum(n * log_likelihood(shape, scale, AGES, results, found, false_call) for results, n in lives)


def highest(fall, start):
    found = minimize(fall, start, method="L-BFGS-B", options={"ftol": 1e-14, "gtol": 1e-7, "maxiter": 500})
    return found.x, -found.fun


def test_p17_rates_known(errorprone):
    """Likelihood of Gu, Ma and Balasubramanian 2015, Ann. Appl. Stat. 9 (computed twice): 1e-3."""
    x, height = highest(lambda x: -fleet_log_likelihood(errorprone, *np.exp(x), 0.75, 0.04), [0.5, 2.2])
    assert [*np.exp(x), height] == approx([1.704484, 9.457858, -571.59031], rel=1e-4)


def test_p17_found_taken_as_one(errorprone):
    """The same with found = 1: shape and scale far off, and 48 units of log-likelihood lost (computed twice): 1e-3."""
    x, height = highest(lambda x: -fleet_log_likelihood(errorprone, *np.exp(x), 1.0, 0.04), [0.5, 2.2])
    assert [*np.exp(x), height] == approx([2.454884, 10.715719, -619.15216], rel=1e-4)


def test_p17_both_rates_estimated(errorprone):
    """The same with both rates estimated and no prior (computed twice): 1e-3."""

    def fall(x):
        return -fleet_log_likelihood(errorprone, *np.exp(x[:2]), *expit(x[2:]))

    x, height = highest(fall, [0.5, 2.2, 1.0, -3.0])
    assert [*np.exp(x[:2]), *expit(x[2:])] == approx([1.739029, 9.633257, 0.765794, 0.046336], rel=1e-3)
    assert height == approx(-571.47485, abs=1e-3)
