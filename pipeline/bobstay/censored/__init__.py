"""Curves other than one Weibull on censored, late-entered lives: families, bends, bands, and tests over boats.

Maths only: arrays in, arrays and records out. A curve is its cumulative hazard with two derivatives; the likelihood,
the climb and the tests follow from it.
"""

from __future__ import annotations

from bobstay.censored.climb import Climbed, climbed
from bobstay.censored.families import FAMILIES, FamilyEstimate, estimate_family, log_scores
from bobstay.censored.flips import ScoreTest, score_test
from bobstay.censored.hazards import banded, bent, loglogistic, lognormal, weibull
from bobstay.censored.rows import Rows, rows_of, slopes

__all__ = [
    "FAMILIES",
    "Climbed",
    "FamilyEstimate",
    "Rows",
    "ScoreTest",
    "banded",
    "bent",
    "climbed",
    "estimate_family",
    "log_scores",
    "loglogistic",
    "lognormal",
    "rows_of",
    "score_test",
    "slopes",
    "weibull",
]
