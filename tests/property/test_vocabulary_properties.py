"""What must hold for any text: normalising is stable, spelling changes no sense, and no indication turns clear."""

from __future__ import annotations

import unicodedata

from hypothesis import given, settings
from hypothesis import strategies as st

from bobstay.vocabulary import WORD_LISTS, load, normalised

QUICK = settings(max_examples=300, deadline=None, derandomize=True)
VOCABULARY = load()
CLEAR = {"no_indication", "non_relevant", "false"}
COLUMNS = st.sampled_from(WORD_LISTS)
KNOWN = COLUMNS.flatmap(lambda c: st.sampled_from(VOCABULARY.listing(c)).map(lambda s: (c, s)))
RESULTS = VOCABULARY.listing("result")
FINDINGS = st.sampled_from([s for s in RESULTS if s.canonical not in CLEAR])
# Marks people leave between and after words.
JOINTS = st.sampled_from(
    [" ", "  ", "-", "_", ", ", "; ", ": ", ". ", " - ", "/", " (", "\n", "\u00a0", " \u2013 ", "? ", "! "]
)
TEXT = st.text(max_size=12) | st.text(st.sampled_from("noindcatk .,;:!?-_()/'äüßéÜ"), max_size=20)


@QUICK
@given(TEXT)
def test_normalising_is_idempotent(text):
    """Source: the sense of a normal form."""
    assert normalised(normalised(text)) == normalised(text)


@st.composite
def respelled(draw, word):
    """Return `word` in other cases, spaces, hyphens, accents, and with closing marks."""
    recased = draw(st.sampled_from([str.upper, str.lower, str.title, str.swapcase, str]))(word)
    joined = draw(st.sampled_from([" ", "  ", "-", "_", "\u2011", "\u00a0"])).join(recased.split(" "))
    form = draw(st.sampled_from(["NFC", "NFD", "NFKC", "NFKD"]))
    return unicodedata.normalize(form, joined) + draw(st.sampled_from(["", " ", ".", "!", ",", " .", ";"]))


@QUICK
@given(st.data())
def test_spelling_changes_no_sense(data):
    """Source: case, spaces, hyphens, accents' form and closing marks say nothing."""
    column, known = data.draw(KNOWN)
    word = data.draw(respelled(known.word))
    expected = known.canonical if known.certainty == "same" else None
    assert VOCABULARY.canonical(column, word) == expected


@QUICK
@given(KNOWN)
def test_a_keyboard_without_accents_is_understood(known):
    """Source: accents struck off; umlauts and sharp s written out as is common usage in German, from memory."""
    column, synonym = known
    bare = "".join(c for c in unicodedata.normalize("NFKD", synonym.word) if not unicodedata.combining(c))
    spelled = synonym.word.translate(str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "Ü": "Ue", "Ö": "Oe"}))
    expected = synonym.canonical if synonym.certainty == "same" else None
    assert {VOCABULARY.canonical(column, w) for w in (bare, spelled)} == {expected}


@QUICK
@given(st.data())
def test_an_indication_respelled_is_never_clear(data):
    """Source: no mess of spelling may turn a finding, or a word of doubt, into a clear look."""
    finding = data.draw(FINDINGS)
    assert VOCABULARY.canonical("result", data.draw(respelled(finding.word))) not in CLEAR


@QUICK
@given(FINDINGS, JOINTS, st.sampled_from(RESULTS), st.booleans())
def test_a_finding_beside_any_other_word_is_never_clear_unless_the_two_are_one_known_word(finding, joint, other, first):
    """Source: the same; "keine" and "Anzeige" side by side are the one known word "keine Anzeige"."""
    pair = (finding.word, other.word) if first else (other.word, finding.word)
    text = joint.join(pair)
    one_word = normalised(" ".join(pair)) in {normalised(s.word) for s in RESULTS if s.canonical in CLEAR}
    assert VOCABULARY.canonical("result", text) not in CLEAR or (one_word and not set(joint) & set(",;:?!/("))


@settings(max_examples=80, deadline=None, derandomize=True)
@given(FINDINGS, JOINTS, st.sampled_from(RESULTS))
def test_no_clear_look_is_proposed_out_of_a_part(finding, joint, other):
    """Source: a text that holds a known finding and more is no ground to propose a clear look by likeness."""
    text = joint.join((other.word, finding.word))
    proposals = VOCABULARY.proposals("result", text, n=9)
    held = {p.word for p in proposals if p.why == "fuzzy" and p.canonical in CLEAR}
    assert not {w for w in held if f" {w.casefold()} " in f" {text.casefold()} "}


@settings(max_examples=60, deadline=None, derandomize=True)
@given(COLUMNS, TEXT)
def test_what_is_proposed_is_never_applied(column, text):
    """Source: the promise: fuzzy is never returned by canonical; what canonical knows is not asked for."""
    proposals = VOCABULARY.proposals(column, text)
    assert len(proposals) <= 3
    assert len({p.canonical for p in proposals}) == len(proposals)
    if proposals:
        assert VOCABULARY.canonical(column, text) is None
        assert all(0.75 <= p.likeness <= 1 for p in proposals)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(KNOWN, st.data())
def test_one_wrong_letter_is_never_applied_silently(known, data):
    """Source: a letter no word holds, put anywhere in a known word, leaves it unknown."""
    column, synonym = known
    place = data.draw(st.integers(0, len(synonym.word)))
    assert VOCABULARY.canonical(column, synonym.word[:place] + "\u0434" + synonym.word[place:]) is None
