"""Families of curves estimated by maximum likelihood, and what each says of lives it has not seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from bobstay.censored.climb import Climbed, climbed
from bobstay.censored.hazards import Floats, Hazard, loglogistic, lognormal, weibull
from bobstay.censored.rows import Rows, slopes

FAMILIES: dict[str, Hazard] = {
    "weibull": weibull,
    "lognormal": lognormal,
    "loglogistic": loglogistic,
    "exponential": weibull,
}
_MEDIAN: dict[Hazard, float] = {weibull: float(np.log(np.log(2))), lognormal: 0.0, loglogistic: 0.0}
_QUARTERS: dict[Hazard, float] = {
    weibull: 1.5725,
    lognormal: 1.3490,
    loglogistic: 2.1972,
}  # of z, from the first quarter to the third
LOWEST = -690.0  # the log score of what a curve holds impossible


@dataclass(frozen=True, slots=True)
class FamilyEstimate:
    """A family with its parameters (location, log spread), their covariance and the log-likelihood."""

    family: str
    theta: Floats
    covariance: Floats
    log_likelihood: float

    @property
    def parameter_count(self) -> int:
        """Parameters estimated: one for the exponential, two for the others."""
        return 1 if self.family == "exponential" else 2

    @property
    def aic(self) -> float:
        """Akaike's criterion, 2 k - 2 ln L (Akaike 1974)."""
        return 2 * self.parameter_count - 2 * self.log_likelihood

    def quantile(self, share: float, *, cover: float) -> tuple[float, float, float]:
        """Return the age by which `share` have had the event, with limits by the delta method on ln age."""
        z = _standard_quantile(FAMILIES[self.family], share)
        spread = float(np.exp(self.theta[1]))
        slope = np.array([1.0, z * spread])
        reach = float(ndtri((1 + cover) / 2) * np.sqrt(slope @ self.covariance @ slope))
        centre = float(self.theta[0] + z * spread)
        return float(np.exp(centre)), float(np.exp(centre - reach)), float(np.exp(centre + reach))


def _standard_quantile(hazard: Hazard, share: float) -> float:
    if hazard is weibull:
        return float(np.log(-np.log1p(-share)))
    return float(ndtri(share) if hazard is lognormal else np.log(share) - np.log1p(-share))


def estimate_family(rows: Rows, family: str, *, scale: float, shape: float) -> FamilyEstimate:
    """Return the maximum-likelihood estimate of a family, from a Weibull near the answer.

    The climb starts at the curve with the Weibull's median and quartile ratio; the exponential holds its spread at 1.
    Raises EstimateError where no finite maximum is found.
    """
    hazard = FAMILIES[family]
    if family == "exponential":
        made = climbed(rows, hazard, np.array([np.log(scale), 0.0]), free=(0,))
    else:
        spread = _QUARTERS[weibull] / _QUARTERS[hazard] / shape
        centre = np.log(scale) + _MEDIAN[weibull] / shape - _MEDIAN[hazard] * spread
        made = climbed(rows, hazard, np.array([centre, np.log(spread)]))
    return _record(family, made)


def _record(family: str, made: Climbed) -> FamilyEstimate:
    return FamilyEstimate(family, made.theta, made.covariance, made.log_likelihood)


def log_scores(made: FamilyEstimate, rows: Rows) -> Floats:
    """Return the log-likelihood (n,) of rows under an estimate made elsewhere; -inf becomes a very low number."""
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        value = slopes(rows, FAMILIES[made.family], made.theta).value
    return np.asarray(np.where(np.isfinite(value), value, LOWEST))
