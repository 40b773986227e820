"""The fleet of known truth that tests share: the study's first generator, and the words of its methods."""

from __future__ import annotations

from bobstay.study.by_year import FALSE_CALL, FOUND, YEARS, simulate
from bobstay.study.truth import Truth

METHODS = ("visual", "magnified", "penetrant", "eddy_current")

__all__ = ["FALSE_CALL", "FOUND", "METHODS", "YEARS", "Truth", "simulate"]
