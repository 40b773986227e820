"""What is known of a class besides its curve, and the advice it gets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bobstay.guidance.rules import Age


@dataclass(frozen=True, slots=True)
class Standing:
    """What the lives say of a class besides its curve: consequence, access, lives looked at and found."""

    consequence: int
    access: str | None
    looked_count: int
    found_count: int
    access_share: float = 0.0  # cost units of its access, shared by what needs the same on the boat


@dataclass(frozen=True, slots=True)
class Advice:
    """The three ages of a class; `source` is own, borrowed, interim (another class's, named) or none."""

    test: Age
    again: Age
    renew: Age
    source: str
    lender: str = ""
    is_capped: bool = False
    is_beyond: bool = False
    cheapest_retest: float = float("nan")  # by the delay-time model, years
    failure_chance: float = float("nan")  # of a part tested as advised, at the assumed growth
