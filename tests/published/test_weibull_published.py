"""Weibull estimates against published data; values computed with several independent programs agree to the
digits given.
"""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx

from bobstay import weibull
from bobstay.errors import EstimateError
from bobstay.likelihood_ratio import quantile_limits
from bobstay.observations import observe


def lognormal_log_likelihood(lower, upper, count):
    """Maximise an independent interval-censored lognormal likelihood; return mu, sigma and its height."""
    from scipy.optimize import minimize
    from scipy.stats import norm

    def fall(theta):
        mu, sigma = theta[0], np.exp(theta[1])
        with np.errstate(divide="ignore"):
            low, high = (np.log(lower) - mu) / sigma, (np.log(upper) - mu) / sigma
            exact = lower == upper
            chance = np.where(
                exact, norm.pdf(low) / (sigma * np.maximum(lower, 1e-300)), norm.cdf(high) - norm.cdf(low)
            )
        return -float(count @ np.log(chance))

    found = minimize(
        fall,
        [np.log(np.median(lower[lower > 0])), 0.0],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-10, "maxiter": 5000},
    )
    return found.x[0], np.exp(found.x[1]), -found.fun


def test_p01_cracks_on_a_common_schedule(checks):
    """Nelson 1982, p. 415, read through R's data set `cracks`; values computed with R survival, lifelines,
    surpyval: 1e-3.
    """
    rows = checks("cracks167")
    made = weibull.estimate(None, rows.lower, rows.upper, rows.count)
    assert (made.shape, made.scale) == (approx(1.48537, rel=1e-5), approx(71.6904, rel=1e-5))
    assert made.log_likelihood == approx(-309.66841, abs=1e-4)
    assert np.sqrt(np.diag(made.covariance)) == approx([0.098656, 0.074396], rel=1e-4)
    assert (made.life_count, made.event_count) == (167, 94)


def test_p01_lognormal_is_less_likely(checks):
    """Nelson 1982, p. 415, computed: lognormal mu 4.026854, sigma .998525, log-likelihood -311.91478, below
    the Weibull.
    """
    rows = checks("cracks167")
    mu, sigma, height = lognormal_log_likelihood(rows.lower, rows.upper, rows.count)
    assert (mu, sigma, height) == (approx(4.026854, rel=1e-4), approx(0.998525, rel=1e-4), approx(-311.91478, abs=1e-4))
    assert weibull.estimate(None, rows.lower, rows.upper, rows.count).log_likelihood > height


@pytest.mark.parametrize(
    ("name", "shape", "scale", "height"),
    [("nist20_first54", 1.7208, 606.528, -75.13462), ("nist20_first55", 1.72563, 606.005, -75.122)],
)
def test_p03_p04_time_censored(checks, name, shape, scale, height):
    """NIST/SEMATECH e-Handbook 8.4.1.3, both readings of its first failure (values read; computed): 1e-4."""
    rows = checks(name)
    made = weibull.estimate(0, rows.lower, rows.upper, rows.count)
    assert (made.shape, made.scale) == (approx(shape, rel=1e-4), approx(scale, rel=1e-4))
    assert made.log_likelihood == approx(height, abs=2e-4)


def test_p04_standard_errors_and_aic(checks):
    """NIST/SEMATECH e-Handbook, code for 8.4.1.3 (read): se(intercept) .205, se(log sigma) .292, AIC 154.24
    and lognormal 154.33.
    """
    rows = checks("nist20_first55")
    made = weibull.estimate(None, rows.lower, rows.upper, rows.count)
    assert np.sqrt(np.diag(made.covariance)) == approx([0.292, 0.205], abs=5e-4)
    assert 4 - 2 * made.log_likelihood == approx(154.24, abs=5e-3)
    assert 4 - 2 * lognormal_log_likelihood(rows.lower, rows.upper, rows.count)[2] == approx(154.33, abs=5e-3)


def test_p06_probability_plot_line(checks):
    """NIST/SEMATECH e-Handbook, code for 8.2.2.1 (read): slope 1.457519, intercept -4.116536 of median ranks
    (i - .3) / (n + .4).

    Checks the data set and the scale of ln cumulative hazard on log age; a plotted line is no estimate of ours.
    """
    rows = checks("nist20_first54")
    ages = np.sort(rows.lower[np.isfinite(rows.upper)])
    ranks = (np.arange(1, ages.size + 1) - 0.3) / (20 + 0.4)
    slope, intercept = np.polyfit(np.log10(ages), np.log10(-np.log1p(-ranks)), 1)
    assert (slope, intercept) == (approx(1.457519, abs=1e-6), approx(-4.116536, abs=1e-6))
    scale = 10 ** (-intercept / slope)
    assert weibull.survival(ages, shape=slope, scale=scale) == approx(np.exp(-(10**intercept) * ages**slope), rel=1e-9)


def test_p07_few_failures_among_many(checks):
    """Abernethy et al. 1983, AFWAL-TR-83-2079 (data read; values computed): B10, B1 and likelihood-ratio
    limits to .1 %.
    """
    rows = checks("bearingcage1703")
    made = weibull.estimate(None, rows.lower, rows.upper, rows.count)
    assert (made.shape, made.scale) == (approx(2.0353, rel=1e-4), approx(11792.2, rel=1e-4))
    assert made.log_likelihood == approx(-76.43690, abs=1e-4)
    assert made.quantile([0.1, 0.01]) == approx([3903.1, 1230.3], rel=1e-4)
    limits = quantile_limits(None, rows.lower, rows.upper, share=0.1, cover=0.95, count=rows.count)
    assert limits == (approx(2094.3, rel=1e-3), approx(22144, rel=1e-3))
    assert (made.life_count, made.event_count) == (1703, 6)


def test_p08_one_coastal_base_apart(checks):
    """Abernethy et al. 1983 (data read; values computed): base D, the others, pooled, and the likelihood ratio
    on 2 df.
    """
    rows = checks("bleed2256")
    is_coastal = rows.frame["base"].to_numpy() == "D"
    heights = {}
    for name, part, expected in (
        ("coastal", is_coastal, (2.95806, 3510.27, -105.30219, 202, 10)),
        ("others", ~is_coastal, (0.88111, 412757, -119.02097, 2054, 9)),
        ("pooled", np.ones_like(is_coastal), (1.31661, 37790, -238.66052, 2256, 19)),
    ):
        made = weibull.estimate(None, rows.lower[part], rows.upper[part], rows.count[part])
        heights[name] = made.log_likelihood
        assert (made.shape, made.scale) == (approx(expected[0], rel=1e-4), approx(expected[1], rel=1e-4))
        assert made.log_likelihood == approx(expected[2], abs=1e-4)
        assert (made.life_count, made.event_count) == expected[3:]
    assert 2 * (heights["coastal"] + heights["others"] - heights["pooled"]) == approx(28.675, abs=1e-3)


def test_p10_interval_censored_patients(checks):
    """Finkelstein and Wolfe 1985, by way of Fay and Shaw 2010 (data read; values computed): 1e-4."""
    rows = checks("cosmesis_rad")
    made = weibull.estimate(None, rows.lower, rows.upper)
    assert (made.shape, made.scale) == (approx(1.12161, rel=1e-4), approx(57.5131, rel=1e-4))
    assert made.log_likelihood == approx(-64.73147, abs=1e-4)


def test_p11_interval_exact_and_left_censored_together():
    """The diabetes data set carried by lifelines, 731 rows (values computed with lifelines and R survival): 1e-4."""
    from lifelines.datasets import load_diabetes

    frame = load_diabetes()
    groups = {
        "all": (slice(None), 2.823495, 18.85653),
        "male": (frame["gender"] == "male", 2.958346, 19.32959),
        "female": (frame["gender"] == "female", 2.645554, 18.09112),
    }
    for chosen, shape, scale in groups.values():
        part = frame.loc[chosen]
        made = weibull.estimate(None, part["left"], part["right"])
        assert (made.shape, made.scale) == (approx(shape, rel=1e-4), approx(scale, rel=1e-4))
    everyone = weibull.estimate(None, frame["left"], frame["right"])
    assert everyone.log_likelihood == approx(-2028.56611, abs=1e-3)


def test_p13_late_entry_with_right_censoring(psych):
    """Klein and Moeschberger 2003, psychiatric patients (data read; computed in five codes): 1e-4; without
    entry, other numbers.
    """
    made = weibull.estimate(psych.entry, psych.lower, psych.upper)
    assert (made.shape, made.scale) == (approx(8.40648, rel=1e-4), approx(68.6899, rel=1e-4))
    assert made.log_likelihood == approx(-57.41646, rel=1e-4)
    ignored = weibull.estimate(None, psych.lower, psych.upper)
    assert (ignored.shape, ignored.scale) == (approx(8.94751, rel=1e-4), approx(68.93557, rel=1e-4))


def test_p18_all_right_censored_is_refused():
    """Theory: with no event the likelihood rises without end as the scale grows."""
    with pytest.raises(EstimateError, match="no event"):
        weibull.estimate(None, [1, 2, 3, 4], np.full(4, np.inf))
    assert observe(None, [1, 2, 3, 4], np.full(4, np.inf)).event_count == 0
