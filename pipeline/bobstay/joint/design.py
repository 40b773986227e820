"""How class parameters and covariates make ln scale and ln shape, and the priors that hold them together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Floats, Ints

# Priors, in logs of years and of shape: medians 25 years and 2.5, nine in ten shapes within 1.2 .. 5.
SCALE_MEAN, SCALE_SD = 3.2, 1.0
SHAPE_MEAN, SHAPE_SD = 0.916, 0.43
COVARIATE_SD = 0.3
GROUPS = ("type", "material", "interaction", "type_shape", "material_shape", "interaction_shape", "boat")
LOG_SD_MEAN = np.array([-1.2, -1.2, -1.8, -1.6, -2.0, -2.0, -1.6])
LOG_SD_SD = 0.6
START_LOG_SD = np.log([0.5, 0.5, 0.3, 0.25, 0.15, 0.15, 0.2])
BOAT = 6  # place of the boat effect among GROUPS


@dataclass(frozen=True, slots=True)
class Design:
    """ln scale of class k = scale_rows[k] @ z + x @ z[covariates], ln shape = shape_rows[k] @ z.

    `group` (P,) is the place in GROUPS of each coefficient whose spread is estimated, -1 where `precision` is fixed.
    """

    scale_rows: Floats  # (K, P)
    shape_rows: Floats  # (K, P)
    covariates: slice
    mean: Floats
    precision: Floats
    group: Ints

    @property
    def size(self) -> int:
        """Number of coefficients."""
        return len(self.mean)

    def prior_precision(self, log_sd: Floats) -> Floats:
        """Return the prior precision of every coefficient for these ln standard deviations (7,)."""
        return np.where(self.group < 0, self.precision, np.exp(-2.0 * log_sd[self.group]))

    def grouped(self) -> Ints:
        """Return the places in GROUPS that some coefficient belongs to."""
        return np.unique(self.group[self.group >= 0])

    def level(self, log_scale: float, log_shape: float) -> Floats:
        """Return coefficients that give every class the same ln scale and ln shape."""
        z = np.zeros(self.size)
        z[_levels(self.scale_rows, self.group)] = log_scale
        z[_levels(self.shape_rows, self.group)] = log_shape
        return z


def _levels(rows: Floats, group: Ints) -> Ints:
    return np.flatnonzero((rows != 0).any(axis=0) & (group < 0))


def crossed_design(type_index: Ints, material_index: Ints, covariate_count: int) -> Design:
    """Return the crossed design: common level, type, material and their interaction, in ln scale and in ln shape.

    `type_index`, `material_index` (K,) number the type and material of each class.
    """
    classes = len(type_index)
    one, none = np.ones((classes, 1)), np.zeros((classes, covariate_count))
    types, materials = np.eye(type_index.max() + 1)[type_index], np.eye(material_index.max() + 1)[material_index]
    scale = [one, types, materials, np.eye(classes)]
    shape = [one, types, materials, np.eye(classes)]
    scale_rows, shape_rows, covariates = _side_by_side(scale, none, shape)
    group = [-1, *_of(0, types), *_of(1, materials), *_of(2, scale[3]), *[-1] * covariate_count]
    group += [-1, *_of(3, types), *_of(4, materials), *_of(5, shape[3])]
    at_shape = covariates.stop
    return _with_priors(
        scale_rows, shape_rows, covariates, np.array(group, dtype=np.intp), slice(at_shape, at_shape + 1)
    )


def separate_design(class_count: int, covariate_count: int) -> Design:
    """Return the design without pooling: each class its own ln scale and ln shape under the weak priors."""
    own, none = np.eye(class_count), np.zeros((class_count, covariate_count))
    scale_rows, shape_rows, covariates = _side_by_side([own], none, [own])
    group = np.full(scale_rows.shape[1], -1, dtype=np.intp)
    return _with_priors(
        scale_rows, shape_rows, covariates, group, slice(covariates.stop, covariates.stop + class_count)
    )


def _of(place: int, columns: Floats) -> list[int]:
    return [place] * columns.shape[1]


def _side_by_side(scale: list[Floats], none: Floats, shape: list[Floats]) -> tuple[Floats, Floats, slice]:
    left, right = np.hstack(scale), np.hstack(shape)
    scale_rows = np.hstack([left, none, np.zeros_like(right)])
    shape_rows = np.hstack([np.zeros_like(left), none, right])
    return scale_rows, shape_rows, slice(left.shape[1], left.shape[1] + none.shape[1])


def _with_priors(scale_rows: Floats, shape_rows: Floats, covariates: slice, group: Ints, shape_levels: slice) -> Design:
    size = scale_rows.shape[1]
    mean, precision = np.zeros(size), np.full(size, SCALE_SD**-2)
    scale_levels = np.flatnonzero((group < 0) & (np.arange(size) < covariates.start))
    mean[scale_levels] = SCALE_MEAN
    mean[shape_levels], precision[shape_levels] = SHAPE_MEAN, SHAPE_SD**-2
    precision[covariates] = COVARIATE_SD**-2
    return Design(scale_rows, shape_rows, covariates, mean, precision, group)
