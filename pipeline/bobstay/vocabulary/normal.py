"""The form in which words are compared: without case, accents, spaces, hyphens, and marks that change no sense."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_REMEMBERED = 16384  # the shipped words twice over, and as many of a user's

_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "œ": "oe", "æ": "ae"})
_DASHES = r"\-\u2010-\u2015\u2212"
_QUOTES = "'\"`\u00b4\u2018\u2019\u201c\u201d\u201e\u00ab\u00bb"
# A dot after a digit or a lone letter belongs to a number or an abbreviation (1.4401, o.B.) and changes no sense.
_INNER_DOT = re.compile(r"(?<![^\W\d_][^\W\d_])(?<!\.)\.(?!\.)")
_END_MARKS = re.compile(r"^[\s!,;:]+|[\s!,;:]+$|(?<!\.)\.\s*$")
_SPACED_DASH = re.compile(rf"(?<=\s)[{_DASHES}]+|[{_DASHES}]+(?=\s)")
_DROPPED = re.compile(rf"[\s_{_QUOTES}{_DASHES})\]]+")


@lru_cache(maxsize=_REMEMBERED)
def normalised(text: str) -> str:
    """Return the form in which `text` is compared with known words; empty where nothing is left.

    Case, accents, spaces, hyphens, underscores and closing marks go; umlauts become ae, oe, ue. Marks that may change
    the sense stay (a question mark; a comma, dash or bracket between words): "no, indication" is not "no indication".
    """
    while (plainer := _once(text)) != text:
        text = plainer
    return text


@lru_cache(maxsize=_REMEMBERED)
def words_of(text: str) -> tuple[str, ...]:
    """Return the words of `text` in order, folded as `normalised` folds them."""
    return tuple(re.findall(r"[^\W_]+", _folded(text)))


def unaccented(text: str) -> str:
    """Return `text` with its accents struck off (u for u umlaut): how it is typed where the keyboard has none."""
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))


def _folded(text: str) -> str:
    if text.isascii() and text.isprintable():  # most cells
        return text.casefold()
    composed = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    bare = unaccented(composed.translate(_UMLAUTS))
    return bare if bare.isprintable() else "".join(c for c in bare if c.isspace() or not _is_unseen(c))


def _is_unseen(character: str) -> bool:
    return unicodedata.category(character) in {"Cf", "Cc"}


def _once(text: str) -> str:
    folded = _END_MARKS.sub("", _INNER_DOT.sub("", _folded(text).strip()))
    return _DROPPED.sub("", _SPACED_DASH.sub("/", folded).strip("/")).replace("[", "(")
