"""Detection rates: the code of a look, the log chances behind it, and the score of the rates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bobstay.joint.fleet import Floats, Ints

KINDS = ("clear", "open", "confirmed", "unfounded")
CERTAIN = -60.0  # log chance that stands for "ruled out by the follow-up"
UNNAMED_FOUND, UNNAMED_FALSE = 0.5, 0.03  # of an indication whose look is not on record; assumed, never estimated
MOST_FOUND = 0.99  # a look sees at most this share of the cracks it can see at all
MOST_CLEARED = 1.0 - 1e-9
LOWEST_LOGIT = 12.0  # rates stay within 6e-6 .. 1 - 6e-6 while they are estimated


OTHER_CODES = 5  # entry, empty, unnamed, failed, suspected


@dataclass(frozen=True, slots=True)
class RatePrior:
    """Rates of R detection rows: what they are thought to be, and the looks that thought is worth."""

    found: Floats
    false_call: Floats
    weight: Floats
    estimated: bool = True

    @property
    def row_count(self) -> int:
        """Number of detection rows."""
        return len(self.found)

    def psi(self) -> Floats:
        """Return the prior as logits: R of found, then R of false_call."""
        return logit(np.concatenate([self.found, self.false_call]))


def logit(p: Floats) -> Floats:
    """Return ln(p / (1 - p))."""
    return np.asarray(np.log(p) - np.log1p(-p))


def expit(x: Floats) -> Floats:
    """Return 1 / (1 + exp(-x))."""
    return np.asarray(np.exp(-np.logaddexp(0.0, -x)))


def look_code(row: Ints, kind: Ints) -> Ints:
    """Return the code of looks of a detection row and kind (place in KINDS)."""
    return row * len(KINDS) + kind


def hidden_code(code: int, row_count: int) -> int:
    """Return the code of the same look at a part whose crack it cannot see."""
    return code + row_count * len(KINDS)


def entry_code(row_count: int) -> int:
    """Return the code of the pseudo-look at which a late joiner came under observation."""
    return 2 * row_count * len(KINDS)


def empty_code(row_count: int) -> int:
    """Return the code of a row that tells nothing."""
    return entry_code(row_count) + 1


def unnamed_code(row_count: int) -> int:
    """Return the code of an indication that is told of, but whose look is not on record."""
    return entry_code(row_count) + 2


def failed_code(row_count: int) -> int:
    """Return the code of a part that broke or leaked in service: a crack for certain, and no look by any method."""
    return entry_code(row_count) + 3


def suspected_code(row_count: int) -> int:
    """Return the code of a suspicion, a row of its own beside the look it led to."""
    return entry_code(row_count) + 4


def code_count(row_count: int) -> int:
    """Return the number of codes there are."""
    return entry_code(row_count) + OTHER_CODES


def code_tables(
    psi: Floats, cleared: float, sight: Floats | None = None, *, log_times: float = 0.0
) -> tuple[Floats, Floats]:
    """Return log P(look | sound) and log P(look | cracked) of every code.

    `cleared` is the chance that a crack from before a late joiner's entry had been taken out by then; `sight` (R,) the
    share of cracks a row's looks can see at all: below 1 the found rate at those is found / sight, and at hidden ones a
    finding is a false call. `log_times` is the log of how much more often cracked parts are suspected.
    """
    rows = len(psi) // 2
    log_false, log_quiet = -np.logaddexp(0.0, -psi[rows:]), -np.logaddexp(0.0, psi[rows:])
    log_found, log_missed = -np.logaddexp(0.0, -psi[:rows]), -np.logaddexp(0.0, psi[:rows])
    if sight is not None:
        found = np.minimum(expit(psi[:rows]) / sight, MOST_FOUND)
        log_found, log_missed = np.log(found), np.log1p(-found)
    is_whole = np.ones((rows, 1), dtype=bool) if sight is None else (sight >= 1.0)[:, None]
    never = np.full(rows, CERTAIN)
    sound = np.stack([log_quiet, log_false, never, log_false], axis=1)
    cracked = np.stack([log_missed, log_found, log_found, never], axis=1)
    unseen = np.where(is_whole, cracked, np.stack([log_quiet, log_false, log_false, never], axis=1))
    kept = np.log1p(-min(cleared, MOST_CLEARED))
    at_sound = np.concatenate([sound.ravel(), sound.ravel(), [0.0, 0.0, np.log(UNNAMED_FALSE), CERTAIN, 0.0]])
    others = [kept, 0.0, np.log(UNNAMED_FOUND), 0.0, log_times]
    return at_sound, np.concatenate([cracked.ravel(), unseen.ravel(), others])


@dataclass(frozen=True, slots=True)
class RateCounts:
    """Expected looks by row: findings and all, at cracked and at sound parts."""

    cracked: Floats
    cracked_found: Floats
    sound: Floats
    sound_found: Floats


def rate_counts(looks: Floats, cracked: Floats) -> RateCounts:
    """Sum by detection row the looks of each code (codes,) and the expected number at cracked parts."""
    kinds = len(KINDS)
    rows = (len(looks) - OTHER_CODES) // (2 * kinds)
    seen, unseen = slice(0, rows * kinds), slice(rows * kinds, 2 * rows * kinds)
    at_crack = cracked[seen].reshape(rows, kinds)
    at_sound = (looks[seen] - cracked[seen] + looks[unseen]).reshape(rows, kinds)
    return RateCounts(
        cracked=at_crack.sum(1),
        cracked_found=at_crack[:, 1:].sum(1),
        sound=at_sound.sum(1),
        sound_found=at_sound[:, 1:].sum(1),
    )


def rate_score(counts: RateCounts, psi: Floats, prior: RatePrior) -> Floats:
    """Return the gradient in psi of log-likelihood plus log prior (2R,), by the EM identity."""
    rate = expit(psi)
    thought = np.concatenate([prior.found, prior.false_call])
    weight = np.tile(prior.weight, 2)
    hits = np.concatenate([counts.cracked_found, counts.sound_found])
    tries = np.concatenate([counts.cracked, counts.sound])
    return np.asarray(hits - rate * tries + weight * (thought - rate))


def expected_curvature(counts: RateCounts, psi: Floats, prior: RatePrior) -> Floats:
    """Return the negative Hessian in psi (2R, 2R) of log-likelihood plus log prior, were every crack's day known."""
    rate = expit(psi)
    tries = np.concatenate([counts.cracked, counts.sound]) + np.tile(prior.weight, 2)
    return np.diag(rate * (1.0 - rate) * tries)


def expectation_step(counts: RateCounts, prior: RatePrior) -> Floats:
    """Return psi after one EM step with Beta priors worth `prior.weight` looks."""
    thought = np.concatenate([prior.found, prior.false_call])
    weight = np.tile(prior.weight, 2)
    hits = np.concatenate([counts.cracked_found, counts.sound_found])
    tries = np.concatenate([counts.cracked, counts.sound])
    tiny = 1.0 / (1.0 + np.exp(LOWEST_LOGIT))
    return logit(np.clip((hits + weight * thought) / (tries + weight), tiny, 1.0 - tiny))


def log_rate_prior(psi: Floats, prior: RatePrior) -> float:
    """Return the log prior of the rates, up to a constant."""
    thought = np.concatenate([prior.found, prior.false_call])
    each = thought * np.logaddexp(0.0, -psi) + (1.0 - thought) * np.logaddexp(0.0, psi)
    return float(-(np.tile(prior.weight, 2) * each).sum())
