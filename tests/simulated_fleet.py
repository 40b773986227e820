"""The fleet of known truth that tests share: the study's first generator, and the words of its methods."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bobstay.joint import Fleet
from bobstay.study.by_year import FALSE_CALL, FOUND, YEARS, simulate
from bobstay.study.truth import Truth

METHODS = ("visual", "magnified", "penetrant", "eddy_current")

__all__ = ["FALSE_CALL", "FOUND", "METHODS", "YEARS", "Truth", "one_life", "simulate"]


def one_life(end_years: float | None = None) -> tuple[Fleet, Truth]:
    """Return ten boats and a single life, watched from new and found clear by the first method at 4 and 8 years."""
    blank, truth = simulate(4, 10, places=20, classes=4)
    fleet = replace(
        blank.of_lives(np.array([0])),
        class_index=np.zeros(1, dtype=np.intp),
        copy_entry=np.zeros(1),
        covariates=np.zeros((1, 2)),
        look_life=np.zeros(2, dtype=np.intp),
        look_age=np.array([4.0, 8.0]),
        look_code=np.zeros(2, dtype=np.intp),
    )
    return (fleet if end_years is None else replace(fleet, end_years=np.array([end_years]))), truth
