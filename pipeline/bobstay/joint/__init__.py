"""The default estimate: latent onset, crossed pooling, covariates, detection rates and a boat effect, in one.

Maths only: arrays in, arrays and records out. The model and the order of its steps are told in `fleet` and `ascent`.
"""

from __future__ import annotations

from bobstay.joint.chances import Chances, chance_by, chances, log_hazard_at, with_hidden_copies
from bobstay.joint.design import Design, crossed_design, separate_design
from bobstay.joint.draws import ClassDraws, Patterns, b10_years, draw_classes
from bobstay.joint.fleet import Fleet
from bobstay.joint.model import Signs
from bobstay.joint.polish import Estimated, estimate
from bobstay.joint.predicted import Predicted, predicted
from bobstay.joint.rates import KINDS, RatePrior, expit, failed_code, look_code, suspected_code, unnamed_code
from bobstay.joint.resample import resampled
from bobstay.joint.signs import estimate_with_signs

__all__ = [
    "KINDS",
    "Chances",
    "ClassDraws",
    "Design",
    "Estimated",
    "Fleet",
    "Patterns",
    "Predicted",
    "RatePrior",
    "Signs",
    "b10_years",
    "chance_by",
    "chances",
    "crossed_design",
    "draw_classes",
    "estimate",
    "estimate_with_signs",
    "expit",
    "failed_code",
    "log_hazard_at",
    "look_code",
    "predicted",
    "resampled",
    "separate_design",
    "suspected_code",
    "unnamed_code",
    "with_hidden_copies",
]
