"""The templates, opened so that all text is escaped and a missing name is an error."""

from __future__ import annotations

from datetime import date
from functools import partial
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from bobstay.report import words
from bobstay.report.spans import since
from bobstay.wording.forms import known

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

    from bobstay.wording import Wording


def template_text(name: str) -> str:
    """Return the text of reports/NAME."""
    return files("bobstay.templates").joinpath(name).read_text(encoding="utf-8")


def templates(wording: Wording, *, as_of: date) -> jinja2.Environment:
    """Return the environment of all pages: everything escaped, no name left undefined, words by their keys."""
    import jinja2

    env = jinja2.Environment(
        loader=jinja2.FunctionLoader(template_text),
        autoescape=True,
        finalize=words.shown,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    forms, spoken = wording.forms, partial(since, as_of=as_of, wording=wording)
    env.filters |= {n: getattr(forms, n) for n in ("percent", "chance", "years", "number", "amount", "money", "day")}
    env.filters |= {"step": words.step, "known": known, "again": partial(again, wording)}
    env.filters |= {"again_plain": wording.again, "word": lambda code, group: wording.word(group, code)}
    env.filters["dated"] = partial(dated, wording)
    env.globals |= {"wording": wording, "t": partial(said, wording), "since": spoken, "until": spoken}
    env.globals |= {n: getattr(forms, n) for n in ("interval", "years_between", "share")}
    env.globals["count"] = lambda quantity, noun: said(wording, f"count.{noun}", n=quantity)
    return env


def said(wording: Wording, key: str, /, **values: Any) -> Markup:
    """Return the sentence `key` as markup, all that is filled in escaped."""
    from markupsafe import Markup

    return Markup(wording.filled(key, values, _escaped))  # noqa: S704 - the sentence is ours, its values are escaped


def again(wording: Wording, text: str | None) -> Markup:
    """Say a stage's English sentences in the page's language; what is not known is marked as English."""
    from markupsafe import Markup, escape

    pieces = [
        escape(said) if is_known or wording.language == "en" or not said.strip() else _english(said)
        for said, is_known in wording.said(text)
    ]
    return Markup("").join(pieces)


def dated(wording: Wording, text: str) -> str:
    """Return a text that is a whole day in the form of the settings; any other, such as `2009~`, as it stands."""
    try:
        return wording.forms.day(date.fromisoformat(text))
    except ValueError:
        return text


def _english(text: str) -> Markup:
    from markupsafe import Markup

    return Markup('<span lang="en">{}</span>').format(text)


def _escaped(value: Any) -> str:
    from markupsafe import escape

    return str(escape(words.seen(value)))
