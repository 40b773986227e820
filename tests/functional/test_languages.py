"""The demo's pages in every other language: no English sentence, word or number form is left on them."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from bobstay import run
from bobstay.report import write_pages
from bobstay.settings import Words
from bobstay.wording import LANGUAGES
from bobstay.wording.catalogue import catalogue

OTHERS = [language for language in LANGUAGES if language != "en"]
# Words that stand in nearly every English sentence and in no German one.
ENGLISH = re.compile(r"\b(the|of|and|is|are|with|from|which|has|have|been|that|this|not|for|years?)\b")


class Texts(HTMLParser):
    """Every run of text a reader sees or hears, titles and labels too, with whether it is marked as English."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, bool]] = []
        self.english = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag == "span" and (self.english or named.get("lang") == "en"):
            self.english += 1
        self.found += [(named[k] or "", False) for k in ("aria-label", "title", "alt") if k in named]

    def handle_endtag(self, tag: str) -> None:
        if tag == "span" and self.english:
            self.english -= 1

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.found.append((" ".join(data.split()), self.english > 0))


def told_apart(language: str) -> set[str]:
    """Return long runs of plain text that stand in English sentences and in none of `language`."""

    def runs(code: str) -> set[str]:
        sentences = (s for key, s in catalogue(code).items() if not key.startswith("words."))
        runs = {p.text.strip(" ,;:.") for s in sentences for p in s}
        return {run for run in runs if len(run) > 11 and " " in run}

    return runs("en") - runs(language)


@pytest.fixture(scope="module", params=OTHERS)
def pages(request: pytest.FixtureRequest, demo: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The demo's pages in one other language: all but the boats', and four of those."""
    out = tmp_path_factory.mktemp(request.param)
    with run.job(demo / "bobstay.duckdb", out=out, settings=None, say=lambda _: None) as job:
        settings = replace(job.settings, words=Words(language=request.param))
        write_pages(job.con, out, settings=settings, as_of=job.as_of, say=lambda _: None)
    chosen = [*sorted(out.glob("*.html")), *sorted((out / "boats").glob("*.html"))[::16]]
    return {"language": request.param} | {p.name: p.read_text(encoding="utf-8") for p in chosen}


def test_every_sentence_of_the_store_is_known(pages: dict[str, str]) -> None:
    """A sentence named here lacks its line in said.toml."""
    unknown = {text for page in pages.values() for text, is_english in Texts(page).found if is_english}
    assert sorted(unknown) == []


def test_no_english_sentence_is_left(pages: dict[str, str]) -> None:
    apart = told_apart(pages["language"])
    assert len(apart) > 300
    left = {
        (name, run) for name, page in pages.items() for text, _ in Texts(page).found for run in apart if run in text
    }
    assert sorted(left) == []


def test_no_common_english_word_is_left(pages: dict[str, str]) -> None:
    left = {
        (name, text)
        for name, page in pages.items()
        for text, is_english in Texts(page).found
        if not is_english and ENGLISH.search(text)
    }
    assert sorted(left) == []


def test_every_page_says_its_language(pages: dict[str, str]) -> None:
    htmls = [page for name, page in pages.items() if name.endswith(".html")]
    assert len(htmls) > 10
    assert all(f'<html lang="{pages["language"]}">' in page for page in htmls)
