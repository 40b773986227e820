"""What a simulated fleet was made from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bobstay.joint.fleet import Bools, Floats, Ints


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth by class (K), boat (G), life (n) and detection row (R)."""

    type_index: Ints
    material_index: Ints
    log_scale: Floats  # by class, at the lives' mean covariates
    log_shape: Floats
    effects: Floats  # of the covariates on ln scale
    boat_sd: float
    boat_effect: Floats
    onset_years: Floats  # by life, age at which its crack begins
    last_years: Floats  # by life, age at its end or at the end of the records
    is_in_service: Bools
    installed: Floats  # by life, years since the records' start (negative: before)
    joined: Floats  # by boat
    covariates: Floats  # by boat, not centred
    found: Floats
    false_call: Floats
    found_thought: Floats  # what the settings would say of them: wrong on purpose
    false_call_thought: Floats
    failing: float  # how often in a year a cracked part fails in service
