"""One life's likelihood, gradient, Hessian and expected looks at cracks against an independent slow implementation."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest

from bobstay.joint import Fleet, look_code
from bobstay.joint.layout import lay_out
from bobstay.joint.passes import joined, log_likelihoods, pass_over, weigh
from bobstay.joint.rates import code_tables, logit

FOUND, FALSE_CALL = (0.35, 0.85), (0.02, 0.06)
PSI = logit(np.array([*FOUND, *FALSE_CALL]))
CLEAR, OPEN, CONFIRMED, UNFOUNDED = range(4)


@dataclass(frozen=True)
class Life:
    """A life as the slow implementation reads it: looks (age, row, kind), entry, and copies (weight, shift)."""

    looks: list[tuple[float, int, int]]
    entry: float = 0.0
    copies: tuple[tuple[float, float], ...] = ((1.0, 0.0),)


LIVES = {
    "never looked at": Life([]),
    "clear twice": Life([(3.0, 0, CLEAR), (6.0, 1, CLEAR)]),
    "found after clear": Life([(3.0, 0, CLEAR), (9.0, 1, OPEN)]),
    "confirmed": Life([(2.0, 1, CLEAR), (7.5, 1, CONFIRMED)]),
    "unfounded, then clear": Life([(2.0, 1, UNFOUNDED), (7.5, 1, CLEAR)]),
    "joined late": Life([(9.0, 0, CLEAR), (12.0, 1, OPEN)], entry=8.0),
    "late and never looked at": Life([], entry=5.0),
    "old beyond the curve": Life([(60.0, 1, CLEAR), (70.0, 1, OPEN)]),
    "confirmed within weeks": Life([(0.05, 1, CONFIRMED)]),
    "age known to a range": Life([(4.0, 0, CLEAR), (6.0, 1, OPEN)], copies=((0.5, 3.0), (0.25, 1.5), (0.25, 0.2))),
    "late, age known to a range": Life([(4.0, 1, CLEAR)], entry=2.0, copies=((0.5, 3.0), (0.5, 0.5))),
}


def slow(life: Life, a: float, b: float, rho: float) -> float:
    """Log-likelihood by the definition: sum over the gap in which the crack began, one term at a time."""
    return math.log(math.fsum(weight * one_copy(life, shift, a, b, rho) for weight, shift in life.copies))


def one_copy(life: Life, shift: float, a: float, b: float, rho: float) -> float:
    def failed_between(lo: float, hi: float) -> float:
        h = [(t / math.exp(a)) ** math.exp(b) if t < math.inf else math.inf for t in (lo, hi)]
        return math.exp(-h[0]) * -math.expm1(h[0] - h[1])

    ages = [age + shift for age, _, _ in life.looks]
    entry = life.entry + shift if life.entry > 0 else 0.0
    marks = sorted({0.0, *ages, *([entry] if entry else []), math.inf})
    total = []
    for lo, hi in pairwise(marks):
        chance = failed_between(lo, hi)
        if entry and lo < entry:
            chance *= 1 - rho
        for age, (_, row, kind) in zip(ages, life.looks, strict=True):
            chance *= look_chance(row, kind, cracked=age > lo)
        total.append(chance)
    there = 1 - rho + rho * failed_between(entry, math.inf) if entry else 1.0
    return math.fsum(total) / there


def look_chance(row: int, kind: int, *, cracked: bool) -> float:
    shows = FOUND[row] if cracked else FALSE_CALL[row]
    if kind == CLEAR:
        return 1 - shows
    ruled_out = (kind == CONFIRMED and not cracked) or (kind == UNFOUNDED and cracked)
    return math.exp(-60.0) if ruled_out else shows


def fleet_of(lives: list[Life]) -> Fleet:
    looks = [(i, *look) for i, life in enumerate(lives) for look in life.looks]
    copies = [(i, *copy) for i, life in enumerate(lives) for copy in life.copies]
    at = np.array([i for i, _, _ in copies], dtype=np.intp)
    return Fleet(
        class_index=np.zeros(len(lives), dtype=np.intp),
        boat_index=np.zeros(len(lives), dtype=np.intp),
        covariates=np.zeros((len(lives), 0)),
        copy_life=at,
        copy_log_weight=np.log([w for _, w, _ in copies]),
        copy_shift=np.array([s for _, _, s in copies]),
        copy_entry=np.array([lives[i].entry + s if lives[i].entry else 0.0 for i, _, s in copies]),
        copy_hidden=np.zeros(len(copies), dtype=bool),
        look_life=np.array([i for i, _, _, _ in looks], dtype=np.intp),
        look_age=np.array([age for _, age, _, _ in looks], dtype=float),
        look_code=look_code(
            np.array([r for _, _, r, _ in looks], dtype=np.intp), np.array([k for *_, k in looks], dtype=np.intp)
        ),
        class_count=1,
        boat_count=1,
    )


@pytest.mark.parametrize("name", LIVES)
@pytest.mark.parametrize(("scale", "shape"), [(12.0, 2.4), (5.0, 3.5), (40.0, 1.2)])
@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_likelihood_is_the_sum_over_the_gap_in_which_the_crack_began(
    name: str, scale: float, shape: float, rho: float
) -> None:
    """Against the definition written out term by term (computed here, in another form than the passes use)."""
    a, b = np.array([math.log(scale)]), np.array([math.log(shape)])
    layout = lay_out(fleet_of([LIVES[name]]), 2)
    weights = weigh(layout, code_tables(PSI, rho), rho)
    want = slow(LIVES[name], a[0], b[0], rho)
    assert pass_over(layout, weights, a, b).ll[0] == pytest.approx(want, rel=1e-9, abs=1e-11)
    assert joined(layout, log_likelihoods(layout, weights, a, b))[0] == pytest.approx(want, rel=1e-9, abs=1e-11)


@pytest.mark.parametrize("name", LIVES)
def test_derivatives_are_those_of_the_slow_likelihood(name: str) -> None:
    """Gradient and Hessian in ln scale and ln shape against central differences of the slow likelihood."""
    a, b, rho, h = math.log(12.0), math.log(2.4), 0.5, 1e-3
    layout = lay_out(fleet_of([LIVES[name]]), 2)
    terms = pass_over(layout, weigh(layout, code_tables(PSI, rho), rho), np.array([a]), np.array([b]))

    def f(da: float, db: float) -> float:
        return slow(LIVES[name], a + da, b + db, rho)

    assert terms.da[0] == pytest.approx((f(h, 0) - f(-h, 0)) / (2 * h), rel=1e-4, abs=1e-5)
    assert terms.db[0] == pytest.approx((f(0, h) - f(0, -h)) / (2 * h), rel=1e-4, abs=1e-5)
    assert terms.haa[0] == pytest.approx((f(h, 0) - 2 * f(0, 0) + f(-h, 0)) / h**2, rel=1e-3, abs=1e-4)
    assert terms.hbb[0] == pytest.approx((f(0, h) - 2 * f(0, 0) + f(0, -h)) / h**2, rel=1e-3, abs=1e-4)
    mixed = (f(h, h) - f(h, -h) - f(-h, h) + f(-h, -h)) / (4 * h**2)
    assert terms.hab[0] == pytest.approx(mixed, rel=1e-3, abs=1e-4)


@pytest.mark.parametrize("name", ["clear twice", "found after clear", "joined late", "age known to a range"])
def test_expected_looks_at_cracks(name: str) -> None:
    """Posterior chance of a crack at each look, by code, against a direct sum over onset on a fine grid of ages."""
    life, a, b = LIVES[name], math.log(12.0), math.log(2.4)
    layout = lay_out(fleet_of([life]), 2)
    terms = pass_over(layout, weigh(layout, code_tables(PSI, 0.5), 0.5), np.array([a]), np.array([b]))
    onset = 12.0 * (-np.log1p(-(np.arange(400_000) + 0.5) / 400_000)) ** (1 / 2.4)
    want = np.zeros(layout.code_count)
    total = 0.0
    for weight, shift in life.copies:
        chance = np.full(len(onset), weight)
        if life.entry:
            there = 0.5 + 0.5 * math.exp(-(((life.entry + shift) / 12.0) ** 2.4))
            chance *= np.where(onset < life.entry + shift, 0.5, 1.0) / there
        for age, row, kind in life.looks:
            cracked = onset < age + shift
            chance *= np.where(cracked, look_chance(row, kind, cracked=True), look_chance(row, kind, cracked=False))
        total += chance.sum()
        for age, row, kind in life.looks:
            want[row * 4 + kind] += chance[onset < age + shift].sum()
    entry_and_empty = slice(0, 16)
    np.testing.assert_allclose(terms.cracked_by_code[entry_and_empty], (want / total)[entry_and_empty], atol=2e-5)


def test_cutting_into_chunks_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same lives in one chunk and in many give the same terms (identity)."""
    lives = [LIVES[name] for name in LIVES] * 7
    a, b = np.linspace(2.0, 3.0, len(lives)), np.linspace(0.2, 1.2, len(lives))
    whole = lay_out(fleet_of(lives), 2)
    monkeypatch.setattr("bobstay.joint.layout.BLOCK_ROWS", 10)
    cut = lay_out(fleet_of(lives), 2)
    assert len(whole.blocks) == 1
    assert len(cut.blocks) > 5
    one, many = (pass_over(x, weigh(x, code_tables(PSI, 0.5), 0.5), a, b) for x in (whole, cut))
    for name in ("ll", "da", "db", "haa", "hab", "hbb", "cracked_by_code"):
        np.testing.assert_allclose(getattr(many, name), getattr(one, name), rtol=1e-10, atol=1e-12)
