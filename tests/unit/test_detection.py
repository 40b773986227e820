"""One life under imperfect detection, against sums over the age at which the crack began."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from pytest import approx
from scipy.integrate import quad

from bobstay.detection import log_likelihood
from bobstay.errors import EstimateError
from bobstay.weibull import survival

SHAPE, SCALE = 2.0, 10.0


def summed_over_onsets(ages, chances, begin=0.0):
    """Integrate density x chance of the looks given the onset, the slow way; `chances(onset)` gives the second."""

    def density(t):
        return SHAPE / SCALE * (t / SCALE) ** (SHAPE - 1) * np.exp(-((t / SCALE) ** SHAPE))

    edges = [begin, *ages, 200.0]
    return sum(quad(lambda t: density(t) * chances(t), low, high)[0] for low, high in pairwise(edges))


@pytest.mark.parametrize("results", [[0, 0, 0], [0, 1, 0], [1, 1, 1], [0, 0, 1]])
def test_it_is_the_integral_over_the_onset(results):
    """Computed by quadrature over the onset age, independent of the sums used: 1e-7."""
    ages, found, false_call = [3.0, 7.0, 12.0], [0.7, 0.5, 0.9], [0.05, 0.1, 0.02]

    def chances(onset):
        shown = [f if onset <= t else q for t, f, q in zip(ages, found, false_call, strict=True)]
        return np.prod([p if r else 1 - p for p, r in zip(shown, results, strict=True)])

    assert log_likelihood(SHAPE, SCALE, ages, results, found, false_call) == approx(
        np.log(summed_over_onsets(ages, chances)), abs=1e-7
    )


def test_perfect_looks_give_the_interval_likelihood():
    """Theory: found = 1, false_call = 0, one finding after a clear look: ln(S(4) - S(6))."""
    s = survival([4, 6], shape=SHAPE, scale=SCALE)
    assert log_likelihood(SHAPE, SCALE, [2, 4, 6], [0, 0, 1], 1.0, 0.0) == approx(np.log(s[0] - s[1]), abs=1e-12)
    assert log_likelihood(SHAPE, SCALE, [2, 4], [0, 0], 1.0, 0.0) == approx(np.log(s[0]), abs=1e-12)


def test_impossible_results_are_minus_infinity():
    """Theory: with perfect looks a crack cannot vanish."""
    assert log_likelihood(SHAPE, SCALE, [2, 4], [1, 0], 1.0, 0.0) == -np.inf


def test_no_looks_say_nothing():
    assert log_likelihood(SHAPE, SCALE, [], [], 0.7, 0.05) == 0


def test_words_and_marks_are_alike():
    marks = log_likelihood(SHAPE, SCALE, [2, 4, 6], [False, True, 0], 0.7, 0.05)
    words = log_likelihood(SHAPE, SCALE, [2, 4, 6], ["no_indication", "relevant", "no_indication"], 0.7, 0.05)
    assert marks == words


def test_a_confirmed_finding_rules_out_a_sound_part():
    """Theory: the crack began before 6, seen by nobody at 2 and 4: sum of three gaps."""
    s = survival([2, 4, 6], shape=SHAPE, scale=SCALE)
    expected = 0.7 * ((1 - s[0]) * 0.3**2 + (s[0] - s[1]) * 0.95 * 0.3 + (s[1] - s[2]) * 0.95**2)
    looks = ([2, 4, 6], [0, 0, 1], 0.7, 0.05)
    told = log_likelihood(SHAPE, SCALE, *looks, dispositions=[None, "", "confirmed"])
    assert told == approx(np.log(expected), abs=1e-9)
    assert log_likelihood(SHAPE, SCALE, [2, 4, 6], [0, 0, "failed"], 0.7, 0.05) == approx(told, abs=1e-12)


def test_an_unfounded_finding_rules_out_a_crack():
    """Theory: sound at 6, with one false call there and 95 % clear before."""
    told = log_likelihood(
        SHAPE, SCALE, [2, 4, 6], ["no_indication", "no_indication", "relevant"], 0.7, 0.05,
        dispositions=["open", "open", "unfounded"],
    )  # fmt: skip
    assert told == approx(np.log(0.95**2 * 0.05) - 0.36, abs=1e-9)


def test_a_late_joiner_whose_cracks_had_surely_been_taken_out_is_left_truncated():
    """Theory: rho = 1 conditions on no crack at entry; rho = 0 ignores what happened before the life was known."""
    s = survival([3, 5, 7], shape=SHAPE, scale=SCALE)
    told = log_likelihood(SHAPE, SCALE, [5, 7], [0, 1], 1.0, 0.0, entry=3.0, rho=1.0)
    assert told == approx(np.log((s[1] - s[2]) / s[0]), abs=1e-12)
    looks = ([5, 7], [0, 1], 0.7, 0.05)
    assert log_likelihood(SHAPE, SCALE, *looks, entry=3.0, rho=0.0) == approx(log_likelihood(SHAPE, SCALE, *looks))


def test_a_late_joiner_half_of_whose_cracks_had_been_taken_out():
    """Computed by quadrature: a crack before entry counts half, all over the chance to be there at all: 1e-7."""
    rho, entry = 0.5, 3.0

    def chances(onset):
        shown = 0.7 if onset <= 5 else 0.05
        return (1 - rho if onset <= entry else 1.0) * (1 - shown)

    there = 1 - rho + rho * float(survival(entry, shape=SHAPE, scale=SCALE))
    expected = np.log(summed_over_onsets([entry, 5.0], chances) / there)
    assert log_likelihood(SHAPE, SCALE, [5], [0], 0.7, 0.05, entry) == approx(expected, abs=1e-7)


def test_a_look_on_the_first_day_and_every_edge_of_a_number_is_taken():
    """Theory: a crack before a look at age 0 has no chance, so that only a false call may be shown there."""
    assert log_likelihood(SHAPE, SCALE, [0.0], [1], 0.7, 0.05) == approx(np.log(0.05), abs=1e-12)
    assert log_likelihood(SHAPE, SCALE, [0.0], ["clear"], 0.7, 0.05) == approx(np.log(0.95), abs=1e-12)
    assert log_likelihood(SHAPE, SCALE, [2.0], [0], 0.7, 0.0, 2.0) <= 0.0


def test_a_verdict_on_a_clear_look_settles_nothing():
    """Only findings are followed up: a verdict beside a clear look changes nothing, and a failure needs none."""
    looks = ([2, 4], [0, 1], 0.7, 0.05)
    plain = log_likelihood(SHAPE, SCALE, *looks)
    assert log_likelihood(SHAPE, SCALE, *looks, dispositions=["confirmed", None]) == plain
    failed = log_likelihood(SHAPE, SCALE, [2, 4], [0, "failed"], 0.7, 0.05)
    assert log_likelihood(SHAPE, SCALE, [2, 4], [0, "failed"], 0.7, 0.05, dispositions=[None, "unfounded"]) == failed


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"shape": 0.0}, "shape"), ({"scale": np.nan}, "scale"), ({"ages": [4, 2]}, "in order"),
        ({"ages": [-1, 2]}, "not negative"), ({"results": [0]}, "1 for 2 ages"), ({"results": [0, 2]}, "0 or 1"),
        ({"results": [0, "maybe"]}, "0 or 1"), ({"found": 1.2}, "found"), ({"false_call": [0.1]}, "false_call"),
        ({"entry": 3.0}, "entry"), ({"rho": 2.0}, "rho"), ({"dispositions": ["open"]}, "dispositions"),
    ],
)  # fmt: skip
def test_bad_numbers_are_named(changes, words):
    good = {"shape": 2.0, "scale": 10.0, "ages": [2, 4], "results": [0, 1], "found": 0.7, "false_call": 0.05}
    with pytest.raises(EstimateError, match=words):
        log_likelihood(**(good | changes))
