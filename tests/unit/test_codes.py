"""Codes of worksheet lines: misreadings are told, equal keys give equal codes, no two lines share one.

Source: a weighted sum modulo a prime tells every single changed character and every swapped pair (as ISBN-10; from
memory); here each such misreading of many codes is tried.
"""

from __future__ import annotations

from itertools import combinations

import pytest

from bobstay import codes

MANY = [codes.made(f"fleet\0boat {n}\0fitting\0{2026}") for n in range(60)]


def test_a_code_is_the_same_every_time_and_another_for_another_line():
    assert codes.made("a\0b\0c") == codes.made("a\0b\0c")
    assert len(set(MANY)) == len(MANY)
    assert all(codes.read(code).code == code for code in MANY)


def test_a_code_that_is_taken_gives_way():
    first = codes.made("x")
    second = codes.made("x", taken={first})
    assert first != second
    assert codes.read(second).code == second


@pytest.mark.parametrize("written", ["{0} ", "{1}", "{2}", "{3}"])
def test_case_spaces_and_hyphens_make_no_difference(written):
    code = MANY[0]
    plain = code.replace("-", "")
    assert codes.read(written.format(code.lower(), plain, " ".join(plain), code.replace("-", " – "))).code == code


def test_no_single_misread_character_and_no_swap_is_taken_for_a_code():
    for code in MANY:
        plain = code.replace("-", "")
        wrong = [plain[:i] + c + plain[i + 1 :] for i in range(len(plain)) for c in codes.ALPHABET if c != plain[i]]
        for i, j in combinations(range(len(plain)), 2):
            swapped = list(plain)
            swapped[i], swapped[j] = swapped[j], swapped[i]
            wrong += ["".join(swapped)] if plain[i] != plain[j] else []
        assert [w for w in wrong if codes.read(w).code is not None] == []


@pytest.mark.parametrize("letter", "O0I1LSZ")
def test_letters_that_are_misread_stand_in_no_code(letter):
    assert letter not in codes.ALPHABET
    read = codes.read(MANY[0][:-1] + letter)
    assert read.code is None
    assert letter in read.hint


@pytest.mark.parametrize("text", ["", "4KM", "4KM-7Q2D-9", "?"])
def test_what_is_no_code_says_why(text):
    read = codes.read(text)
    assert read.code is None
    assert read.reason.startswith("the code is misread")


def test_the_nearest_code_is_offered():
    code = MANY[3]
    other = "2" if code[0] != "2" else "3"
    assert codes.nearest(other + code[1:], MANY) == [code]
    assert codes.nearest(code[1] + code[0] + code[2:], MANY) == [code]
    assert codes.nearest("222-2222", MANY) == []
