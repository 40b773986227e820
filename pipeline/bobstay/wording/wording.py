"""Words in one language: a sentence by its key, a table word by its column, a stage's English sentence said again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

from bobstay.wording.again import USERS_WORDS, Heard, Listener
from bobstay.wording.catalogue import Sentence, catalogue, counted
from bobstay.wording.forms import Forms

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from bobstay.settings import Words

_MARKS = {"point": ".", "comma": ","}


@dataclass(frozen=True, slots=True)
class Wording:
    """The words of one language and the forms of its numbers, days and units."""

    language: str
    forms: Forms
    sentences: Mapping[str, Sentence]

    def say(self, key: str, /, **values: Any) -> str:
        """Return the sentence `key` with its placeholders filled; {n} decides between one and many.

        Raises KeyError where there is no such sentence or a value is missing.
        """
        return self.filled(key, values, str)

    def filled(self, key: str, values: Mapping[str, Any], dressed: Callable[[Any], str]) -> str:
        """As `say`, each filled value given to `dressed` first (a page escapes it there)."""
        key = key if key in self.sentences else counted(self.sentences, key, values.get("n"))
        return "".join(
            p.text + (dressed(self.form(values[p.name], p.kind)) if p.name else "") for p in self.sentences[key]
        )

    def form(self, value: Any, kind: str = "") -> Any:
        """Write `value` as its kind says; without one, whole numbers and days take their forms and text stays."""
        if kind in _KINDS:
            return _KINDS[kind](self.forms, value)
        if kind == "said":
            return self.again(value)
        if kind:
            return self.word(kind, value)
        if isinstance(value, bool | float):
            raise TypeError(f"{value!r} needs a kind")
        if isinstance(value, date):
            return self.forms.day(value)
        return self.forms.number(value) if isinstance(value, int) else value

    def has(self, key: str) -> bool:
        """Say whether there is a sentence `key`."""
        return key in self.sentences or f"{key}.many" in self.sentences

    def word(self, group: str, code: str | None) -> str:
        """Return the table word `code` of a column in the reader's words; one that is not known as it stands."""
        if code is None or code == "":
            return "-"
        sentence = self.sentences.get(f"words.{group}.{code.lower().replace(' ', '_')}")
        if sentence:
            return sentence[0].text
        return code if group in USERS_WORDS else code.replace("_", " ")

    def again(self, text: str | None) -> str:
        """Say a stage's English sentences in this language; what is not known stays as it came."""
        return "".join(said for said, _ in self.said(text))

    def said(self, text: str | None) -> list[tuple[str, bool]]:
        """As `again`, in pieces, each with whether it was known."""
        if not text:
            return []
        return [
            (heard, False) if isinstance(heard, str) else (self._said_of(heard), True)
            for heard in _listener().heard(text)
        ]

    def _said_of(self, heard: Heard) -> str:
        return self.filled(heard.key, heard.values, str) if heard.key else heard.values[""]


_KINDS: dict[str, Callable[[Forms, Any], str]] = {
    "number": Forms.number,
    "number1": lambda forms, value: forms.number(value, 1),
    "number2": lambda forms, value: forms.number(value, 2),
    "percent": Forms.percent,
    "chance": Forms.chance,
    "years": Forms.years,
    "amount": Forms.amount,
    "money": Forms.money,
    "day": Forms.day,
    "length": Forms.length,
    "temperature": Forms.temperature,
    "written": lambda forms, value: str(value).replace(".", forms.decimal),  # a number that is text already
}


@cache
def wording_of(words: Words) -> Wording:
    """Return the words and forms that the settings ask for."""
    sentences = catalogue(words.language)

    def one(key: str) -> str:
        return sentences[f"forms.{key}"][0].text

    decimal = one("decimal") if words.decimal == "language" else words.decimal
    forms = Forms(
        decimal=_MARKS[decimal],
        date=one("date") if words.date == "language" else words.date,
        months=tuple(one("months").split()),
        named_day="".join(f"{p.text}{{{p.name}}}" if p.name else p.text for p in sentences["forms.named_day"]),
        no_estimate=one("no_estimate"),
        never=one("never"),
        no_limit=one("no_limit"),
        not_known=one("not_known"),
        to=one("to"),
        currency=words.currency,
        length_unit=words.length_unit,
        temperature_unit=words.temperature_unit,
    )
    return Wording(words.language, forms, sentences)


@cache
def _listener() -> Listener:
    """Return the reader of the stages' English sentences: those under `said` in the English tables."""
    return Listener({key: s for key, s in catalogue("en").items() if key.startswith("said.")})
