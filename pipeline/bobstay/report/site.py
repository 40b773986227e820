"""The templates, opened so that all text is escaped and a missing name is an error."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Any

from bobstay.report import words

if TYPE_CHECKING:
    import jinja2


def template_text(name: str) -> str:
    """Return the text of reports/NAME."""
    return files("bobstay.templates").joinpath(name).read_text(encoding="utf-8")


def templates() -> jinja2.Environment:
    """Return the environment of all pages: everything escaped, no name left undefined."""
    import jinja2

    env = jinja2.Environment(
        loader=jinja2.FunctionLoader(template_text),
        autoescape=True,
        finalize=words.seen,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    for function in (words.percent, words.chance, words.years, words.number, words.amount, words.day, words.plain,
                     words.step, words.known):  # fmt: skip
        env.filters[function.__name__] = function
    names: dict[str, Any] = {
        "interval": words.interval,
        "years_between": words.years_between,
        "count": words.count,
        "share": words.share,
        "ACTIONS": words.ACTIONS,
        "CONSEQUENCES": words.CONSEQUENCES,
        "SHOWS": words.SHOWS,
    }
    env.globals.update(names)
    return env
