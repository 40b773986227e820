"""From terms by life to gradient and Hessian blocks in coefficients and boat effects."""

from __future__ import annotations

import numpy as np

from bobstay.joint.design import Design
from bobstay.joint.fleet import Fleet, Floats, Ints
from bobstay.joint.passes import Terms
from bobstay.joint.rate_slopes import RateSlopes
from bobstay.joint.solve import Blocks


def assemble(fleet: Fleet, design: Design, terms: Terms) -> Blocks:
    """Sum the terms of all lives into the blocks of one Newton step."""
    by_class = _tables(fleet, terms)
    gradient, inner = _inner(fleet, design, terms, *(t.sum(0) for t in by_class))
    cross = -(by_class[0] @ design.scale_rows + by_class[1] @ design.shape_rows)
    for place, column in enumerate(fleet.covariates.T):
        cross[:, design.covariates.start + place] -= _sum(fleet.boat_index, terms.haa * column, fleet.boat_count)
    return Blocks(
        gradient=gradient,
        boat_gradient=_sum(fleet.boat_index, terms.da, fleet.boat_count),
        inner=inner,
        cross=cross,
        boat=-by_class[0].sum(1),
    )


def rate_blocks(design: Design, slopes: RateSlopes) -> tuple[Floats, Floats]:
    """Return the negative Hessian columns of the rates with the coefficients (P, R2) and with the boats (G, R2)."""
    inner = design.scale_rows.T @ slopes.class_scale + design.shape_rows.T @ slopes.class_shape
    inner[design.covariates] += slopes.covariates
    return -inner, -slopes.boats


def _sum(index: Ints, values: Floats, count: int) -> Floats:
    return np.bincount(index, values, minlength=count).astype(np.float64)


def _tables(fleet: Fleet, terms: Terms) -> tuple[Floats, Floats]:
    """Return sums of haa and hab by boat and class (G, K)."""
    cell = fleet.boat_index * fleet.class_count + fleet.class_index
    shape = (fleet.boat_count, fleet.class_count)
    size = fleet.boat_count * fleet.class_count
    return _sum(cell, terms.haa, size).reshape(shape), _sum(cell, terms.hab, size).reshape(shape)


def _inner(fleet: Fleet, design: Design, terms: Terms, haa: Floats, hab: Floats) -> tuple[Floats, Floats]:
    """Return gradient and negative Hessian in the coefficients from sums by class."""
    k, classes, x = fleet.class_index, fleet.class_count, fleet.covariates
    hbb = _sum(k, terms.hbb, classes)
    xa, xb, own = design.scale_rows, design.shape_rows, design.covariates
    gradient = xa.T @ _sum(k, terms.da, classes) + xb.T @ _sum(k, terms.db, classes)
    gradient[own] += x.T @ terms.da
    half = xa.T @ (hab[:, None] * xb)
    hessian = xa.T @ (haa[:, None] * xa) + half + half.T + xb.T @ (hbb[:, None] * xb)
    for place, column in enumerate(x.T, start=own.start):
        mixed = xa.T @ _sum(k, terms.haa * column, classes) + xb.T @ _sum(k, terms.hab * column, classes)
        hessian[place] += mixed
        hessian[:, place] += mixed
    hessian[own, own] += x.T @ (terms.haa[:, None] * x)
    return gradient, -hessian
