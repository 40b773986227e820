"""Reads the published data sets of tests/data/checks."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

CHECKS = Path(__file__).parents[1] / "data" / "checks"


def read_checks(name):
    frame = pd.read_csv(CHECKS / f"{name}.csv")
    count = frame["count"].to_numpy() if "count" in frame else np.ones(len(frame))
    upper = frame["right"].fillna(np.inf).to_numpy()
    return SimpleNamespace(lower=frame["left"].to_numpy(), upper=upper, count=count, frame=frame)


@pytest.fixture
def checks():
    return read_checks


@pytest.fixture
def psych():
    frame = pd.read_csv(CHECKS / "psych26.csv")
    upper = np.where(frame["event"] == 1, frame["exit"], np.inf)
    return SimpleNamespace(entry=frame["entry"].to_numpy(), lower=frame["exit"].to_numpy(), upper=upper)


@pytest.fixture
def errorprone():
    frame = pd.read_csv(CHECKS / "errorprone_patterns300.csv", dtype={"results_at_2_4_6_8": str})
    results = [[int(mark) for mark in row] for row in frame["results_at_2_4_6_8"]]
    return list(zip(results, frame["count"].tolist(), strict=True))
