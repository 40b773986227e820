"""The short code of one line of a worksheet: it names a boat's fitting and a run, and tells of its own misreading.

Six characters that say which line it is, and one that is worked out from them.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

# Without 0 O 1 I L 2/Z and 5/S pairs' letters: what is left is seldom misread, and 29 of them make a prime.
ALPHABET = "23456789ABCDEFGHJKMNPQRTUVWXY"
_LENGTH = 6  # without the check letter: 595 million codes
_GAP = 3  # a hyphen after so many, for the eye
_DROPPED = re.compile(r"[\s.\-_/·–—]+")


@dataclass(frozen=True, slots=True)
class Reading:
    """A code as written down by hand: in its usual form, or why it is none and what it may be."""

    code: str | None
    reason: str = ""
    hint: str = ""


def letters_of(number: int, count: int) -> str:
    """Return `count` characters of the alphabet that stand for `number`, the lowest digit first."""
    return "".join(ALPHABET[number // len(ALPHABET) ** place % len(ALPHABET)] for place in range(count))


def made(key: str, *, taken: Collection[str] = ()) -> str:
    """Return the code of `key`, in its usual form; where another line has it already the next that is free."""
    turn = 0
    while True:
        number = int.from_bytes(hashlib.sha256(f"{key}\0{turn}".encode()).digest()[:16], "big")
        payload = letters_of(number, _LENGTH)
        code = _spaced(payload + check_letter(payload))
        if code not in taken:
            return code
        turn += 1


def check_letter(payload: str) -> str:
    """Return the letter that goes with `payload`: the sum of the places' weights times values, modulo 29.

    A weighted sum modulo a prime, with weights that differ, tells every single misread character and every two that
    changed places (as in ISBN-10, ISO 2108; from memory).
    """
    total = sum((place + 2) * ALPHABET.index(letter) for place, letter in enumerate(payload))
    return ALPHABET[-total % len(ALPHABET)]


def read(text: str) -> Reading:
    """Return what a hand-written code says; case, spaces and hyphens make no difference."""
    plain = _DROPPED.sub("", text).upper()
    strange = sorted(set(plain) - set(ALPHABET))
    if strange:
        hint = f"{', '.join(strange)} stands in no code (0 may be D or Q, 1 may be 7, S may be 5, Z may be 2)"
        return Reading(None, "the code is misread: a character that no code has", hint)
    if len(plain) != _LENGTH + 1:
        return Reading(None, "the code is misread: it has too few or too many characters", "a code is like 4KM-7Q2D")
    if check_letter(plain[:-1]) != plain[-1]:
        return Reading(
            None, "the code is misread: its last character does not fit the others", "compare it with the sheet"
        )
    return Reading(_spaced(plain))


def nearest(text: str, known: Iterable[str]) -> list[str]:
    """Return the codes of `known` that differ from `text` in one place, or by two neighbours changed about."""
    plain = _DROPPED.sub("", text).upper()
    return sorted(code for code in known if _is_near(plain, code.replace("-", "")))


def _is_near(one: str, other: str) -> bool:
    if len(one) != len(other):
        return False
    differ = [place for place, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    if len(differ) == 2:
        first, second = differ
        return second == first + 1 and (one[first], one[second]) == (other[second], other[first])
    return len(differ) == 1


def _spaced(plain: str) -> str:
    return f"{plain[:_GAP]}-{plain[_GAP:]}"
