"""The joint model's covariates against a published regression: P11 on sex."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from bobstay.joint import Fleet, RatePrior, estimate, look_code, separate_design

CLEAR, CONFIRMED = 0, 2
NARROW = 1e-5  # half of the share of its age within which an exact onset is said to lie
FLAT = 1e-10  # precision of a prior that says nothing
# Rarer than the chance of any interval below, so that no missed crack explains one better than the interval itself.
PERFECT = RatePrior(found=np.array([1 - 1e-14]), false_call=np.array([1e-14]), weight=np.ones(1), estimated=False)


@pytest.fixture(scope="module")
def diabetes():
    """The diabetes data set carried by lifelines: 731 rows, male or not, onset between `left` and `right`."""
    from lifelines.datasets import load_diabetes

    return load_diabetes()


def fleet_of(frame) -> Fleet:
    """Each row as a life looked at by a test that never errs: clear at `left`, a confirmed crack at `right`."""
    left, right = frame["left"].to_numpy(float), frame["right"].to_numpy(float)
    is_exact = left == right
    left, right = left * np.where(is_exact, 1 - NARROW, 1), right * np.where(is_exact, 1 + NARROW, 1)
    was_clear, lives = np.flatnonzero(left > 0), np.arange(len(frame))
    kinds = np.repeat([CLEAR, CONFIRMED], [len(was_clear), len(lives)])
    male = (frame["gender"] == "male").to_numpy(float)
    return Fleet(
        class_index=np.zeros(len(lives), dtype=np.intp),
        boat_index=lives,
        covariates=(male - male.mean())[:, None],
        copy_life=lives,
        copy_log_weight=np.zeros(len(lives)),
        copy_shift=np.zeros(len(lives)),
        copy_entry=np.zeros(len(lives)),
        copy_hidden=np.zeros(len(lives), dtype=bool),
        look_life=np.concatenate([was_clear, lives]),
        look_age=np.concatenate([left[was_clear], right]),
        look_code=look_code(np.zeros(len(kinds), dtype=np.intp), kinds),
        class_count=1,
        boat_count=len(lives),
    )


def test_p11_regression_on_sex(diabetes):
    """Interval, exact and left-censored together with a covariate, accelerated failure time.

    Intercept 2.907977 (standard error .02234), male .045758 (.02750), log shape 1.038962, log-likelihood -2027.19633:
    values computed with lifelines and R survival. Exact ages are given as intervals of 2e-5 of the age here, whose log
    width the log-likelihood is freed of: 1e-4.
    """
    made = estimate(fleet_of(diabetes), flat_design(), rates=PERFECT, has_boats=False)
    level, male, log_shape = made.point.coefficients
    share = (diabetes["gender"] == "male").mean()
    at_female = np.array([1.0, -share, 0.0])
    covariance = made.covariance[:3, :3]
    assert made.has_converged
    assert [level - share * male, male, log_shape] == approx([2.907977, 0.045758, 1.038962], abs=1e-4)
    errors = np.sqrt([at_female @ covariance @ at_female, covariance[1, 1]])
    assert errors == approx([0.02234, 0.02750], abs=1e-5)
    exact = diabetes.loc[diabetes["left"] == diabetes["right"], "left"]
    width = np.log(2 * NARROW * exact).sum()
    assert made.class_log_likelihood.sum() - width == approx(-2027.19633, abs=1e-3)


def flat_design():
    """One class with one covariate, every prior flat: what is left is the likelihood."""
    design = separate_design(1, 1)
    return replace(design, precision=np.full(design.size, FLAT))
