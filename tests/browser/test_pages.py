"""The pages in headless Chromium: offline, silent, within a phone's width, light and dark and on paper."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import pytest

import fleet_fixture as fixture
from bobstay.report import write_pages
from bobstay.settings import Settings

pytestmark = pytest.mark.browser

_TINTED = r"""[...document.querySelectorAll('body *')].flatMap(e => {
    const s = getComputedStyle(e);
    return [s.color, s.backgroundColor, s.fill, s.stroke].filter(c => {
        const m = c.match(/^rgba?\((\d+), (\d+), (\d+)(?:, ([\d.]+))?/);
        return m && m[4] !== '0' && Math.max(m[1], m[2], m[3]) - Math.min(m[1], m[2], m[3]) > 20;
    }).map(c => e.tagName + ' ' + (e.getAttribute('class') || '') + ' ' + c);
}).slice(0, 5)"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("pages")
    with duckdb.connect() as con:
        fixture.build(con)
        settings = replace(Settings(), invented=True)
        write_pages(con, out, settings=settings, as_of=fixture.AS_OF, say=lambda _: None)
    return out


def _pages(site: Path) -> list[Path]:
    return [*sorted(site.glob("*.html")), *sorted((site / "boats").glob("*.html"))[:3]]


def test_pages_open_with_no_request_leaving_and_no_message(browser: Any, site: Path) -> None:
    for path in _pages(site):
        page = browser.new_page()
        asked: list[str] = []
        said: list[str] = []
        page.on("request", lambda r, asked=asked: asked.append(r.url))
        page.on("console", lambda m, said=said: said.append(m.text))
        page.on("pageerror", lambda e, said=said: said.append(str(e)))
        page.goto(path.as_uri())
        assert said == [], path.name
        assert {re.sub(r"[^/]*$", "", url) for url in asked} <= {site.as_uri() + "/", site.as_uri() + "/boats/"}
        assert page.evaluate("getComputedStyle(document.body).marginTop") == "0px", "the stylesheet is not in force"
        page.close()


@pytest.mark.parametrize("width", [390, 1200])
def test_no_page_scrolls_sideways(browser: Any, site: Path, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844})
    for path in _pages(site):
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path.name
        hidden = page.evaluate(
            "[...document.querySelectorAll('table, .chart svg')].filter(t => t.getBoundingClientRect().width >"
            " innerWidth && !t.closest('[role=region][tabindex=\"0\"]')).length"
        )
        assert hidden == 0, path.name
    page.close()


def test_charts_stand_on_white_in_the_dark(browser: Any, site: Path) -> None:
    page = browser.new_page(color_scheme="dark")
    page.goto((site / "index.html").as_uri())
    ground = "getComputedStyle(document.querySelector('{}')).backgroundColor"
    assert page.evaluate(ground.format(".chart")) == "rgb(255, 255, 255)"
    assert page.evaluate(ground.format("body")) != page.evaluate(ground.format(".chart"))
    page.close()


def test_text_in_charts_is_not_cut_off(browser: Any, site: Path) -> None:
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    for name in ("index.html", "evidence.html"):
        page.goto((site / name).as_uri())
        cut = page.evaluate(
            "[...document.querySelectorAll('.chart')].flatMap(c => [...c.querySelectorAll('text')].filter(t =>"
            " t.getBoundingClientRect().left < c.getBoundingClientRect().left ||"
            " t.getBoundingClientRect().right > c.getBoundingClientRect().right).map(t => t.textContent))"
        )
        assert cut == [], name
    page.close()


def test_looks_open_by_keyboard(browser: Any, site: Path) -> None:
    page = browser.new_page()
    page.goto(sorted((site / "boats").glob("*.html"))[0].as_uri())
    assert not page.locator("details table").first.is_visible()
    page.locator("summary").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("details table").first.is_visible()
    page.close()


def test_paper_has_only_greys(browser: Any, site: Path) -> None:
    page = browser.new_page()
    page.emulate_media(media="print")
    page.goto((site / "index.html").as_uri())
    tinted = page.evaluate(_TINTED)
    assert tinted == []
    assert page.pdf(format="A4").startswith(b"%PDF")
    page.close()
