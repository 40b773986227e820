"""What happens to cracked parts more often than to sound ones, and without being asked: failures and suspicions.

A failure in service shows a crack for certain. Taken alone it would make cracks look more frequent than they are, for
the cracked parts that did not fail would speak of nothing; the years they stayed whole are therefore counted against
them. A look on a suspicion (something was seen, heard or felt) is no look at a part picked blindly: how often sound and
cracked parts are suspected is estimated too, and years without a suspicion are counted like years without a failure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay.joint.ascent import evenly
from bobstay.joint.model import Signs
from bobstay.joint.polish import START_BOATS, Estimated, estimate, is_big
from bobstay.joint.rates import failed_code, suspected_code

if TYPE_CHECKING:
    from bobstay.joint.design import Design
    from bobstay.joint.fleet import Fleet
    from bobstay.joint.rates import RatePrior

FIRST_RATE = 0.01  # failures of cracked parts a year; where the search for it starts
FIRST_TIMES = 3.0  # how much more often a cracked part is suspected, likewise
SUSPICIONS_THOUGHT = 2.0  # each of the two rates of suspicion is held to their mean as if by so many suspicions more
ALIKE = 0.05  # relative change at which the rates rest
MOST_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class _Counted:
    """What is on record of a fleet: failures, suspicions, and the years its parts were watched."""

    failures: int
    suspicions: int
    years: float

    @classmethod
    def of(cls, fleet: Fleet, row_count: int) -> _Counted:
        """Count; nothing where the ends of lives are not told."""
        if fleet.end_years is None:
            return cls(0, 0, 0.0)
        codes = (fleet.look_code == code for code in (failed_code(row_count), suspected_code(row_count)))
        failures, suspicions = (int(one.sum()) for one in codes)
        first = np.searchsorted(fleet.copy_life, np.arange(fleet.life_count))
        ends = fleet.end_years + fleet.copy_shift[first]
        return cls(failures, suspicions, float(np.maximum(ends - fleet.copy_entry[first], 0.0).sum()))

    def first(self) -> Signs:
        """Return where the search for the rates starts."""
        often = self.suspicions / max(self.years, 1e-9)
        return Signs(FIRST_RATE if self.failures else 0.0, FIRST_TIMES * often, often)

    def after(self, made: Estimated) -> Signs:
        """Return the rates that the cracked years of an estimate speak for."""
        cracked = max(made.cracked_years, 1e-9)
        failing = self.failures / cracked
        if not self.suspicions:
            return Signs(failing)
        kept = SUSPICIONS_THOUGHT * self.years / self.suspicions
        at_cracked = (made.suspected_cracked + SUSPICIONS_THOUGHT) / (cracked + kept)
        sound = max(self.years - cracked, 0.0)
        at_sound = (self.suspicions - made.suspected_cracked + SUSPICIONS_THOUGHT) / (sound + kept)
        return Signs(failing, max(at_cracked, at_sound), at_sound)


def estimate_with_signs(fleet: Fleet, design: Design, *, rates: RatePrior, **how: Any) -> Estimated:
    """Estimate as `polish.estimate` does, and how often parts fail and are suspected: events over years.

    Expectation and maximisation in turn, each estimate from the last one's point (Dempster, Laird and Rubin 1977, from
    memory). Without a failure or suspicion on record, or without the ends of lives, its rate is 0: it may go unwritten.
    """
    counted = _Counted.of(fleet, rates.row_count)
    if not counted.failures and not counted.suspicions:
        return estimate(fleet, design, rates=rates, **how)
    signs = counted.first()
    if is_big(fleet):  # near enough from some of its boats
        part = fleet.of_boats(evenly(fleet.boat_count, START_BOATS))
        signs = estimate_with_signs(part, design, rates=rates, **how).model.signs
    made = estimate(fleet, design, rates=rates, signs=signs, **how)
    for _ in range(MOST_ROUNDS):
        better = counted.after(made)
        if better.is_like(signs, ALIKE):
            break
        signs = better
        made = estimate(fleet, design, rates=rates, signs=signs, start=made.point, **how)
    return made
