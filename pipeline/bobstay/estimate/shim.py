"""Stands in until curves is there."""

from __future__ import annotations

import numpy as np
import pandas as pd


def nonparametric_table(lives: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        columns="fitting_type material age_from_years age_to_years survival survival_lower survival_upper at_risk".split()
    )


def oldest_years(lives: pd.DataFrame, minimum: int) -> pd.DataFrame:
    good = lives[lives["left_out"].isna()]
    end = np.where(np.isfinite(good["upper_years"]), good["upper_years"], good["lower_years"])
    good = good.assign(end=end)
    top = good.groupby(["fitting_type", "material"])["end"].apply(
        lambda s: s.nlargest(minimum).iloc[-1] if len(s) >= minimum else np.nan
    )
    return top.rename("oldest_years").reset_index()
