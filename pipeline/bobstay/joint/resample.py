"""Boats drawn anew with replacement and the fleet estimated each time: a check of intervals without curvature."""

from __future__ import annotations

import numpy as np

from bobstay.joint.draws import ClassDraws
from bobstay.joint.polish import Estimated, estimate


def resampled(estimated: Estimated, count: int, seed: int) -> ClassDraws:
    """Return the estimate (draw 0) and those of `count` fleets of boats drawn with replacement, each from its point.

    Boats, not fittings, are drawn: fittings of one boat are alike (Efron and Tibshirani 1993, chapter 8, from memory).
    A class keeps its prior, so where little was seen the spread of these estimates is less than its interval.
    """
    rng, model = np.random.default_rng(seed), estimated.model
    boats = model.fleet.boat_count
    made = [estimated]
    for _ in range(count):
        fleet = model.fleet.with_boats(np.sort(rng.integers(0, boats, boats)))
        made.append(
            estimate(
                fleet,
                model.design,
                rates=model.rates,
                cleared=model.cleared,
                has_boats=model.has_boats,
                signs=model.signs,
                start=estimated.point,
            )
        )
    z = np.stack([one.point.coefficients for one in made])
    design = model.design
    sd = np.array([np.exp(one.point.log_sd[-1]) if model.has_boats else 0.0 for one in made])
    return ClassDraws(z @ design.scale_rows.T, z @ design.shape_rows.T, z[:, design.covariates], sd)
