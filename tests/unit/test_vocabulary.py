"""The vocabularies: what is applied, what is only proposed, what a user may add, and what is refused."""

from __future__ import annotations

import csv
import re
import tomllib
import unicodedata
from pathlib import Path

import pytest

from bobstay.errors import UsageError
from bobstay.settings import Settings
from bobstay.tables import INPUT_BY_NAME, INPUTS
from bobstay.vocabulary import CHOICES, LANGUAGES, OPEN_LISTS, WORD_LISTS, load, normalised, word_list

ROOT = Path(__file__).parents[2]
WORDS = ROOT / "pipeline" / "bobstay" / "vocabulary" / "words"
VOCABULARY = load()
CLEAR = {"no_indication", "non_relevant", "false"}


@pytest.mark.parametrize("column", WORD_LISTS)
def test_each_language_has_words_for_each_list(column):
    """Source: the languages the project promises, with Italian and Dutch beside them."""
    spoken = {s.language for s in VOCABULARY.listing(column) if s.word != s.canonical}
    assert spoken - {"any"} == {"en", "de", "fr", "es", "it", "nl"}
    assert spoken <= set(LANGUAGES)


@pytest.mark.parametrize("column", CHOICES)
def test_each_choice_has_an_applied_word_in_each_language(column):
    """Source: the choices of the input tables; a word of a finding must be understood whoever wrote it."""
    for canonical in CHOICES[column]:
        spoken = {s.language for s in VOCABULARY.listing(column) if s.canonical == canonical and s.certainty == "same"}
        assert {"en", "de", "fr", "es", "it", "nl"} <= spoken, canonical


@pytest.mark.parametrize("column", CHOICES)
def test_closed_lists_hold_the_choices_of_the_tables_and_no_others(column):
    """Source: the input tables themselves."""
    assert {s.canonical for s in VOCABULARY.listing(column)} == set(CHOICES[column])
    assert all(VOCABULARY.canonical(column, choice) == choice for choice in CHOICES[column])


@pytest.mark.parametrize("column", WORD_LISTS)
def test_no_word_stands_for_two(column):
    """Source: the shipped files as written, compared here without the package's own normalising."""
    tree = tomllib.loads((WORDS / f"{column}.toml").read_text(encoding="utf-8"))
    owners: dict[str, set[tuple[str, str]]] = {}
    for canonical, lists in tree.items():
        owners.setdefault(_plain(canonical), set()).add((canonical, "same"))
        for certainty, languages in lists.items():
            for word in (w for words in languages.values() for w in words):
                owners.setdefault(_plain(word), set()).add((canonical, certainty))
    assert {word: claims for word, claims in owners.items() if len(claims) > 1} == {}


def _plain(word):
    bare = "".join(c for c in unicodedata.normalize("NFKD", word.lower()) if not unicodedata.combining(c))
    return re.sub(r"[\s_.'-]", "", bare)


def test_every_file_of_words_is_a_list():
    """Source: the folder: a file that no list reads would be words that nobody hears."""
    assert {p.stem for p in WORDS.iterdir()} == set(WORD_LISTS)


def test_the_demo_fleet_speaks_the_canonical_words():
    """Source: the demo fleet's own file."""
    with (ROOT / "data_demo" / "fittings.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for column in OPEN_LISTS:
        told = {row[column] for row in rows}
        assert {word: VOCABULARY.canonical(column, word) for word in told} == {word: word for word in told}


def test_the_settings_speak_the_canonical_words():
    """Source: the consequence classes of the settings, which a mapped fitting type must meet."""
    types = set(Settings().consequence.classes)
    assert {t: VOCABULARY.canonical("fitting_type", t) for t in types} == {t: t for t in types}


@pytest.mark.parametrize(
    ("column", "word", "canonical"),
    [
        ("fitting_type", "Wantenpütting", "chainplate"),
        ("fitting_type", "WANTENPUETTING", "chainplate"),
        ("fitting_type", "Wantenputting", "chainplate"),
        ("fitting_type", "Chain-Plates", "chainplate"),
        ("fitting_type", "cadenes", "chainplate"),
        ("fitting_type", "landa", "chainplate"),
        ("fitting_type", "Relingsfuß", "stanchion base"),
        ("fitting_type", "Relingsfuss", "stanchion base"),
        ("fitting_type", "MÈCHE DE SAFRAN", "rudder stock"),
        ("fitting_type", "perno de quilla", "keel bolt"),
        ("fitting_type", "bottle screw", "turnbuckle"),
        ("fitting_type", "vit-de-mulet", "gooseneck"),
        ("material", "Inox", "stainless (grade not stated)"),
        ("material", "S/S", "stainless (grade not stated)"),
        ("material", "Edelstahl", "stainless (grade not stated)"),
        ("material", "rvs", "stainless (grade not stated)"),
        ("material", "A4", "stainless 316"),
        ("material", "V4A", "stainless 316"),
        ("material", "1.4404", "stainless 316"),
        ("material", "316 L", "stainless 316"),
        ("material", "A2-70", "stainless 304"),
        ("material", "V2A", "stainless 304"),
        ("material", "1.4301", "stainless 304"),
        ("material", "1.4462", "stainless duplex"),
        ("material", "bronze", "bronze (not stated)"),
        ("material", "Manganbronze", "manganese bronze"),
        ("material", "laiton", "brass"),
        ("material", "CW602N", "dzr brass"),
        ("material", "aluminum", "aluminium alloy"),
        ("material", "Gußeisen", "cast iron"),
        ("method", "Sichtprüfung", "visual"),
        ("method", "Dye-Pen", "penetrant"),
        ("method", "ressuage", "penetrant"),
        ("method", "líquidos penetrantes", "penetrant"),
        ("method", "FPI", "fluorescent_penetrant"),
        ("method", "courants de Foucault", "eddy_current"),
        ("result", "keine Anzeigen", "no_indication"),
        ("result", "NO-INDICATION.", "no_indication"),
        ("result", "Riss", "relevant"),
        ("result", "Scheinanzeige", "false"),
        ("result", "nicht zugänglich", "not_inspected"),
        ("result", "gebrochen", "failed"),
        ("scope", "ausgebaut", "removed"),
        ("access", "à flot", "afloat"),
        ("kind", "Grundberührung", "grounding"),
        ("yes_no", "sí", "yes"),
        ("yes_no", "Nein", "no"),
        ("water", "SÜSSWASSER", "fresh"),
        ("trigger", "planmaessig", "scheduled"),
    ],
)
def test_words_that_surely_say_the_same_are_applied(column, word, canonical):
    """Source: EN 10088-1, EN ISO 3506-1 and EN ISO 9712 for numbers and letters, else common usage; all from memory."""
    assert VOCABULARY.canonical(column, word) == canonical
    assert VOCABULARY.proposals(column, word) == []


UNSURE = [
    *("ok", "OK!", "okay", "O.K.", "fine", "good", "passed", "clear", "clean", "sound", "none", "nil", "negative", "✓"),
    *("all ok", "no cracks", "rig ok", "false positive", "monitor", "hairline", "rust", "see photo", "?", "??"),
    *("gut", "i.O.", "o.B.", "ohne Befund", "keine Risse", "bestanden", "falsch"),
    *("bon", "bien", "conforme", "RAS", "rien à signaler", "faux"),
    *("bueno", "correcto", "apto", "sin novedad", "buono", "a posto", "goed", "akkoord"),
]


@pytest.mark.parametrize("word", UNSURE)
def test_words_said_lightly_are_asked_for_and_never_applied(word):
    """Source: common practice, no source: such words are written of whole rigs seen from the deck."""
    assert VOCABULARY.canonical("result", word) is None
    assert VOCABULARY.proposals("result", word)[0].why == "ask"


@pytest.mark.parametrize("word", ["monitor", "hairline", "rust", "see photo", "?", "Rost", "à surveiller", "ver foto"])
def test_words_of_doubt_are_never_even_proposed_as_clear(word):
    """Source: common practice, no source."""
    proposed = {p.canonical for p in VOCABULARY.proposals("result", word, n=9)}
    assert proposed
    assert proposed.isdisjoint(CLEAR)


def test_a_clear_word_is_applied_only_if_it_speaks_of_indications():
    """Source: the house's rule for results: an indication is a test's own word (ISO 12706, from memory)."""
    applied = [s.word for s in VOCABULARY.listing("result") if s.canonical in CLEAR and s.certainty == "same"]
    told = [w for w in applied if w not in CLEAR]
    assert len(told) > 30
    assert [w for w in told if not re.search(r"indica|anzeige", w.casefold())] == []


@pytest.mark.parametrize(
    "text",
    [
        "no, indication",
        "no: indication",
        "no. Indication",
        "no - indication",
        "no / indication",
        "no (indication)",
        "no indication?",
        "no indication*",
        "no indication...",
        "no indication (see photo)",
        "no indication port, crack starboard",
        "no indication; crack at weld",
        "indication: no idea",
    ],
)
def test_marks_that_may_turn_the_sense_keep_a_look_from_being_clear(text):
    """Source: worked by hand: each may be said of a part that shows an indication."""
    assert VOCABULARY.canonical("result", text) is None
    assert CLEAR.isdisjoint(p.canonical for p in VOCABULARY.proposals("result", text, n=9))


@pytest.mark.parametrize(
    ("column", "word", "canonical", "why"),
    [
        ("fitting_type", "turnbukle", "turnbuckle", "fuzzy"),
        ("fitting_type", "Wantenpütting Bb 2", "chainplate", "fuzzy"),
        ("fitting_type", "terminal", "swaged terminal", "ask"),
        ("material", "316?", "stainless 316", "ask"),
        ("material", "steel", "mild steel", "ask"),
        ("method", "penetrent", "penetrant", "fuzzy"),
        ("method", "survey", "visual", "ask"),
        ("result", "no indicatons", "no_indication", "fuzzy"),
        ("result", "hairline at port pin", "relevant", "fuzzy"),
        ("result", "crack?", "relevant", "ask"),
        ("action", "re-rigged", "replaced", "ask"),
        ("disposition", "not confirmed", "open", "ask"),
    ],
)
def test_near_words_are_proposed_and_not_applied(column, word, canonical, why):
    """Source: worked by hand."""
    first = VOCABULARY.proposals(column, word)[0]
    assert (first.canonical, first.why) == (canonical, why)
    assert VOCABULARY.canonical(column, word) is None


@pytest.mark.parametrize("column", OPEN_LISTS)
def test_a_word_like_no_other_gets_no_proposal(column):
    """Source: none is known for it: a fleet's own word stays as written."""
    assert VOCABULARY.canonical(column, "zzyzx") is None
    assert VOCABULARY.proposals(column, "zzyzx") == []


def test_proposals_name_each_canonical_word_once_and_no_more_than_asked_for():
    """Source: worked by hand: "bronze" with two letters crossed is near many bronzes."""
    proposals = VOCABULARY.proposals("material", "silcon bronze", n=2)
    assert proposals[0].canonical == "silicon bronze"
    assert len({p.canonical for p in proposals}) == len(proposals) == 2
    assert proposals[0].likeness >= proposals[1].likeness


def test_empty_and_bare_marks_say_nothing():
    """Source: an empty cell means "not stated"."""
    for column in WORD_LISTS:
        for word in ("", " ", "-", "--", "_", ".", "\u200b", "\u00a0"):
            assert VOCABULARY.canonical(column, word) is None
            assert VOCABULARY.proposals(column, word) == []


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("  Chain_Plate ", "chainplate"),
        ("chain\u2011plate", "chainplate"),
        ("Ｖ４Ａ", "v4a"),
        ("1.4401", "14401"),
        ("o. B.", "ob"),
        ("Pu\u0308tting", "puetting"),
        ("GROẞ", "gross"),
        ("étrave", "etrave"),
        ("d’étrave", "detrave"),
        ("s / s", "s/s"),
        ("ok!", "ok"),
        ("ok?", "ok?"),
        ("done...", "done..."),
    ],
)
def test_normalising(text, form):
    """Source: worked by hand."""
    assert normalised(text) == form


def _own(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)


def test_own_words_are_applied_and_override_what_is_only_asked_for(tmp_path):
    """Source: the form promised to users."""
    own = _own(
        tmp_path, '[result]\nno_indication = ["o.B.", "sans remarque", "alles schick"]\nrelevant = ["monitor"]\n'
    )
    assert own.canonical("result", "O.B.") == "no_indication"
    assert own.canonical("result", "Alles  Schick!") == "no_indication"
    assert own.canonical("result", "monitor") == "relevant"
    assert own.canonical("result", "ok") is None
    assert {s.language for s in own.listing("result") if s.word == "o.B."} == {"own"}
    assert load().canonical("result", "o.B.") is None


def test_own_fitting_types_and_materials_are_taken_up(tmp_path):
    """Source: the form promised to users: types and materials are open."""
    own = _own(tmp_path, '[fitting_type]\n"bow roller" = ["Bugrolle"]\nChain-Plate = ["Eisen am Want"]\n')
    assert own.canonical("fitting_type", "BUGROLLE") == "bow roller"
    assert own.canonical("fitting_type", "Bow-roller") == "bow roller"
    assert own.canonical("fitting_type", "eisen am want") == "chainplate"


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[material]\n"my alloy" = ["V4A"]\n', ["'V4A'", "'stainless 316'", "'my alloy'"]),
        ('[material]\nEdelstahl = ["rostbeständig"]\n', ["'Edelstahl'", "'stainless (grade not stated)'"]),
        ('[result]\nno_indication = ["prima"]\nrelevant = ["Prima!"]\n', ["'no_indication'", "'relevant'", "Prima"]),
        ('[result]\nno_indication = ["crack"]\n', ["'crack'", "'relevant'", "'no_indication'"]),
        ('[resultt]\nno_indication = ["prima"]\n', ["resultt", "did you mean result"]),
        ('result = ["prima"]\n', ["result", "prima"]),
        ('[result]\nclear = ["prima"]\n', ["'clear'", "result.clear", "no_indication"]),
        ('[result]\nno_indication = "prima"\n', ["result.no_indication", "'prima'"]),
        ("[result]\nno_indication = [3]\n", ["result.no_indication", "3"]),
        ('[result]\nno_indication = ["-"]\n', ["result.no_indication", "'-'"]),
        ('[material]\n"" = ["prima"]\n', ["material", "''"]),
        ("[result\n", ["not TOML", "own.toml"]),
    ],
)
def test_mistakes_in_own_words_name_key_and_value(tmp_path, text, named):
    """Source: the house's errors: what is wrong, where, what to do."""
    with pytest.raises(UsageError) as fault:
        _own(tmp_path, text)
    told = "\n".join(fault.value.lines())
    assert [n for n in named if n not in told] == []
    assert "own.toml" in fault.value.where
    assert fault.value.remedy != "-"


def test_a_missing_file_of_own_words_is_wrong_use(tmp_path):
    """Source: exit code 2 for a missing file."""
    with pytest.raises(UsageError, match="not there"):
        load(tmp_path / "none.toml")


def test_every_column_of_words_reads_from_a_list():
    """Source: the input tables: each choice, yes-or-no, fitting type and material."""
    for table in INPUTS:
        for column in table.columns:
            name = word_list(table.name, column)
            if column.kind in {"choice", "choices", "yes_no"}:
                assert name is not None
                assert CHOICES[name] == column.choices
            else:
                assert (name in OPEN_LISTS) == (column.name in {*OPEN_LISTS, "fitting_types"})


def test_the_action_of_a_price_is_not_that_of_a_look():
    """Source: the input tables."""
    columns = {c.name: c for c in INPUT_BY_NAME["prices"].columns}
    assert word_list("prices", columns["action"]) == "price_action"
    assert VOCABULARY.canonical("price_action", "ersetzen") == "replace"
    assert VOCABULARY.canonical("action", "ersetzen") is None


def test_unknown_lists_are_a_fault_of_the_caller():
    """Source: the promise in the docstring."""
    with pytest.raises(KeyError):
        VOCABULARY.canonical("inspector", "ok")
