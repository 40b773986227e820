"""What the estimate hands on, however it was made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Estimates:
    """The five tables an estimate makes, each as promised in `bobstay.tables`, and a check of it.

    `findings` holds rows of tables.FIT_CHECKS not adjusted yet; none where looks are taken at their word.
    """

    classes: pd.DataFrame
    detection: pd.DataFrame
    nonparametric: pd.DataFrame
    chances: pd.DataFrame
    class_draws: pd.DataFrame
    findings: pd.DataFrame | None = None
