"""Words, numbers and days in each language; the terms on which safety hangs are the same sense in all of them."""

from __future__ import annotations

import math
import re
import tomllib
from datetime import date
from importlib.resources import files

import pytest

from bobstay.settings import Settings, Words, from_tree
from bobstay.wording import LANGUAGES, Wording, wording_of
from bobstay.wording.catalogue import catalogue, is_form, texts

ENGLISH = texts("en")
OTHERS = [language for language in LANGUAGES if language != "en"]
USERS_OWN = ("words.type.", "words.material.")  # English has these as the records write them
GLOSSARY = tomllib.loads(files("bobstay.wording").joinpath("glossary.toml").read_text(encoding="utf-8"))

# The glossary is frozen: to change a term, change it here as well and say why in the commit.
# The words of testing are those of ISO 12706 (from memory), the rest common practice.
FROZEN = {
    "crack": (["crack"], ["Riss", "geriss"]),
    "indication": (["indication"], ["Anzeige", "Scheinanzeige"]),
    "surveyor": (["surveyor"], ["Gutachter"]),
    "rigger": (["rigger"], ["Rigger"]),
    "flag": (["flag"], ["Flaggenstaat"]),
    "insurer": (["insurer"], ["Versicherer"]),
    "fit_for_sea": (["fit for sea"], ["seetüchtig"]),
    "nobody_looked": (["nobody has looked"], ["niemand nachgesehen", "niemand hat nachgesehen",
                                              "niemand hat es angesehen"]),
    "penetrant": (["penetrant"], ["Eindring", "Farbeindring"]),
    "tell_nothing": (["tells nothing", "tell nothing"], ["sagt nichts", "sagen nichts", "nichts aussagen"]),
    "assumed": (["assum"], ["angenommen", "Annahme", "annimmt", "annehm"]),
    "chance": (["chance"], ["Wahrscheinlichkeit", "Zufall", "Chance"]),
    "renew": (["renew"], ["erneuer", "ersetz"]),
    "invented": (["invented"], ["erfunden"]),
}  # fmt: skip
CAUTION = {
    "en": "It does not say that a fitting or a boat is fit for sea. A place lower on a list may only mean that nobody "
    "has looked there. What the surveyor, the rigger, the class, the flag, the insurer and local rules say comes "
    "before anything here.",
    "de": "Es sagt nicht, dass ein Beschlag oder ein Boot seetüchtig ist. Ein Platz weiter unten auf einer Liste kann "
    "auch nur heißen, dass dort niemand nachgesehen hat. Was Gutachter, Rigger, Klassifikationsgesellschaft, "
    "Flaggenstaat, Versicherer und örtliche Vorschriften sagen, geht allem hier vor.",
}
RESULTS = {
    "en": ["no indication", "relevant indication", "non-relevant indication", "false indication", "inconclusive",
           "not inspected", "failed in service"],
    "de": ["keine Anzeige", "relevante Anzeige", "nicht relevante Anzeige", "Scheinanzeige", "nicht eindeutig",
           "nicht geprüft", "im Betrieb versagt"],
}  # fmt: skip
FORBIDDEN = {"en": r"\bsafe(?!ty)", "de": r"\b(sicher|sichere[rnms]?|unbedenklich\w*|ungefährlich\w*)\b"}


def words_in(language: str, **changed: str) -> Wording:
    return wording_of(Words(language=language, **changed))


def placeholders(key: str, language: str) -> set[tuple[str, str]]:
    return {(p.name, p.kind) for p in catalogue(language)[key] if p.name}


def holds(text: str, terms: list[str]) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(term)}", text, re.IGNORECASE) for term in terms)


@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_sentences(language: str) -> None:
    own = {key for key in texts(language) if not key.startswith(USERS_OWN)}
    assert own == set(ENGLISH)


@pytest.mark.parametrize("language", OTHERS)
def test_a_sentence_has_the_same_placeholders_in_every_language(language: str) -> None:
    """But for {n}, which a form for one thing or none may leave out."""
    wrong = {
        key: placeholders(key, language) ^ placeholders(key, "en")
        for key in ENGLISH
        if (placeholders(key, language) ^ placeholders(key, "en")) - ({("n", "")} if is_form(key) else set())
    }
    assert wrong == {}


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_counted_has_a_form_for_one_and_for_many(language: str) -> None:
    stems = {key.rpartition(".")[0] for key in texts(language) if is_form(key) and not key.startswith("words.")}
    assert stems
    assert all(f"{stem}.{form}" in texts(language) for stem in stems for form in ("one", "many"))


@pytest.mark.parametrize("language", OTHERS)
def test_markup_is_the_same_in_every_language(language: str) -> None:
    tags = re.compile(r"</?[a-z]+")
    wrong = [k for k in ENGLISH if sorted(tags.findall(ENGLISH[k])) != sorted(tags.findall(texts(language)[k]))]
    assert wrong == []


def test_the_glossary_is_frozen() -> None:
    assert {name: (entry["en"], entry["de"]) for name, entry in GLOSSARY.items()} == FROZEN


@pytest.mark.parametrize("name", FROZEN)
@pytest.mark.parametrize("language", OTHERS)
def test_terms_of_the_glossary_stand_where_the_other_language_has_them(language: str, name: str) -> None:
    english, own = GLOSSARY[name]["en"], GLOSSARY[name][language]
    wrong = {
        key: (ENGLISH[key], texts(language)[key])
        for key in ENGLISH
        if holds(ENGLISH[key], english) and not holds(texts(language)[key], own)
    }
    assert wrong == {}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_caution_and_the_words_for_results_are_frozen(language: str) -> None:
    w = words_in(language)
    assert w.say("common.caution") == CAUTION[language]
    order = ("no_indication", "relevant", "non_relevant", "false", "inconclusive", "not_inspected", "failed")
    assert [w.word("result", r) for r in order] == RESULTS[language]


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_ever_called_by_the_one_word(language: str) -> None:
    assert [k for k, text in texts(language).items() if re.search(FORBIDDEN[language], text, re.IGNORECASE)] == []


def test_a_language_of_the_settings_is_one_that_is_there() -> None:
    for language in LANGUAGES:
        assert from_tree({"words": {"language": language}}).words.language == language
    assert Settings().words == Words()


def test_numbers_in_two_languages() -> None:
    en, de = words_in("en").forms, words_in("de").forms
    assert (en.number(12345.67, 1), de.number(12345.67, 1)) == ("12\u2009345.7", "12\u2009345,7")
    assert (en.years(7.5), de.years(7.5), de.years(10.0)) == ("7.5", "7,5", "10")
    assert (en.years(math.inf), de.years(math.inf), de.years(None)) == ("never", "nie", "-")
    assert (en.interval(0.001, 0.5), de.interval(0.001, 0.5)) == ("<1 to 50 %", "<1 bis 50 %")
    assert (en.amount(0.01), de.amount(0.01), de.amount(3.14)) == ("<0.1", "<0,1", "3,1")
    assert (en.chance(None), de.chance(None)) == ("no estimate", "keine Schätzung")


def test_days_money_and_units_follow_the_settings() -> None:
    day = date(2027, 3, 4)
    shown = {d: words_in("de", date=d).forms.day(day) for d in ("language", "named", "dots", "iso")}
    assert shown == {"language": "4. März 2027", "named": "4. März 2027", "dots": "04.03.2027", "iso": "2027-03-04"}
    assert words_in("en").forms.day(day) == "4 Mar 2027"
    assert words_in("en", decimal="comma").forms.years(1.5) == "1,5"
    assert words_in("en", currency="EUR").forms.money(1234.4) == "1\u2009234 EUR"
    assert words_in("en").forms.money(1234.4) == "1\u2009234"
    assert (words_in("en").forms.length(12.7), words_in("en", length_unit="inch").forms.length(12.7)) == (
        "12.7 mm",
        "0.50 in",
    )
    assert words_in("de", temperature_unit="fahrenheit").forms.temperature(10) == "50 °F"


def test_counting_takes_the_form_of_its_number() -> None:
    assert [words_in("en").say("count.boat", n=n) for n in (0, 1, 2)] == ["no boats", "1 boat", "2 boats"]
    assert [words_in("de").say("count.boat", n=n) for n in (0, 1, 1234)] == [
        "keine Boote",
        "1 Boot",
        "1\u2009234 Boote",
    ]


def test_a_missing_sentence_or_value_is_an_error() -> None:
    with pytest.raises(KeyError):
        words_in("en").say("common.no_such_sentence")
    with pytest.raises(KeyError):
        words_in("en").say("count.boat")
    with pytest.raises(TypeError, match="needs a kind"):
        words_in("en").say("count.boat", n=2.5)


def test_words_of_users_stay_as_they_are_where_no_table_has_them() -> None:
    de = words_in("de")
    assert de.word("type", "mast tang") == "Mastbeschlag"
    assert de.word("type", "Spi_Pole End") == "Spi_Pole End"
    assert de.word("access", "mast_out") == "Mast gelegt"
    assert de.word("access", "by_balloon") == "by balloon"
    assert (de.word("method", None), de.word("method", "")) == ("-", "-")


def test_a_stages_sentence_is_said_again_and_an_unknown_one_kept() -> None:
    text = "Open indication since 2027-03-04: take it out of use until it is followed up. Ask Jo."
    de = words_in("de")
    assert de.said(text) == [
        ("Offene Anzeige seit 4. März 2027: außer Gebrauch nehmen, bis sie nachverfolgt ist.", True),
        (" Ask Jo.", False),
    ]
    assert de.again("surface not cleaned; part outside 10 to 50 C") == (
        "Oberfläche nicht gereinigt; Teil außerhalb 10 bis 50 °C"
    )
    assert de.again("surface not cleaned; by moonlight") == "surface not cleaned; by moonlight"
    assert de.again("3 boats wait: 2 for want of places, 1 for want of money.") == (
        "3 Boote warten: 2 aus Mangel an Plätzen, 1 aus Mangel an Geld."
    )
    assert de.again("Renew: the cheapest way at the costs set; leaving it would cost about as much.") == (
        "Erneuern: der günstigste Weg bei den gesetzten Kosten; Lassen kostete etwa gleich viel."
    )
    assert words_in("en", date="iso").again(text) == text
    assert de.again(None) == ""
