"""Every kind of page of the real demo in headless Chromium, as its readers meet it: offline, at a desk, on a phone, in
the dark, on paper, by ear.

The rules for ears and hands are those of axe-core (Deque), which checks the Web Content Accessibility Guidelines 2.2.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

KINDS = ("index", "guidance", "plan", "changes", "evidence", "backtest", "records", "method", "boat")
CAUTION = "It does not say that a fitting or a boat is fit for sea."
WIDTHS = {"desk": (1200, 900), "phone": (390, 844)}
# Puts the number of its row at both ends of every cell, so that the sheets of a print can be searched for it.
_NUMBERED = r"""() => [...document.querySelectorAll('tbody tr')].forEach((row, i) => [...row.cells].forEach(cell => {
    for (const where of ['afterbegin', 'beforeend']) {
        const mark = document.createElement('small');
        mark.textContent = ` qz${i}q `;
        mark.style.whiteSpace = 'nowrap';
        mark.style.fontSize = '5px';
        cell.insertAdjacentElement(where, mark);
    }
}))"""
_MARKLESS = r"""() => [...document.querySelectorAll('svg')].filter(s =>
    !s.querySelector(':scope > title')?.textContent.trim() ||
    ![...s.querySelectorAll('path, rect, circle, line')].some(m => {
        const b = m.getBBox(); return b.width + b.height > 0;
    })).map(s => s.outerHTML.slice(0, 120))"""


def page_of(demo: Path, kind: str) -> Path:
    if kind != "boat":
        return demo / f"{kind}.html"
    pages = sorted((demo / "boats").glob("*.html"), key=lambda p: (-p.stat().st_size, p.name))
    return pages[0]  # the longest of them


@pytest.fixture(params=KINDS)
def kind(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_opens_offline_with_no_request_leaving_and_no_message(browser: Any, demo: Path, kind: str) -> None:
    context = browser.new_context(offline=True)
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda r: asked.append(r.url))
    page.on("console", lambda m: said.append(m.text))
    page.on("pageerror", lambda e: said.append(str(e)))
    path = page_of(demo, kind)
    page.goto(path.as_uri())
    text = page.inner_text("body")
    assert said == []
    assert {url for url in asked if not url.startswith(demo.as_uri())} == set()
    assert (demo / "style.css").as_uri() in asked
    assert CAUTION in text
    assert "Invented data" in text
    context.close()


def test_no_sideways_scroll_and_every_chart_has_marks_and_a_title(
    browser: Any, demo: Path, kind: str, shots: Path
) -> None:
    page = browser.new_page()
    page.goto(page_of(demo, kind).as_uri())
    for view, (width, height) in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, view
        page.screenshot(path=shots / f"{kind}_{view}.png")
    assert page.locator("svg").count() > 0
    assert page.evaluate(_MARKLESS) == []
    page.close()


def test_axe_finds_no_serious_violation(browser: Any, demo: Path, kind: str, shots: Path) -> None:
    """All rules in the light, contrast once more in the dark.

    axe-core runs from its own package; the page's policy forbids scripts, so the test's context sets it aside.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    context = browser.new_context(offline=True, bypass_csp=True)
    page = context.new_page()
    page.goto(page_of(demo, kind).as_uri())
    found = serious(axe.run(page).response)
    page.emulate_media(color_scheme="dark")
    found += serious(axe.run(page, options={"runOnly": ["color-contrast"]}).response)
    page.screenshot(path=shots / f"{kind}_dark.png")
    context.close()
    assert found == []


def serious(response: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (v["id"], node["html"][:160], node.get("failureSummary", "")[:200])
        for v in response["violations"]
        if v["impact"] in {"serious", "critical"}
        for node in v["nodes"][:3]
    ]


def test_axe_does_find_what_is_wrong(browser: Any) -> None:
    """The tool itself works here: a picture without words and pale text are found."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = browser.new_page()
    page.set_content("<html><body><img src='x.png'><p style='color:#ccc;background:#fff'>pale</p></body></html>")
    assert {"image-alt", "color-contrast"} <= {v["id"] for v in axe.run(page).response["violations"]}
    page.close()


def test_paper_keeps_rows_whole_and_repeats_the_heads(browser: Any, demo: Path, kind: str, shots: Path) -> None:
    """On A4 all cells of a row stand on one sheet, the caution is there, and long tables repeat their heads."""
    pypdfium2 = pytest.importorskip("pypdfium2")
    page = browser.new_page()
    page.goto(page_of(demo, kind).as_uri())
    page.emulate_media(media="print")
    heads = "[...document.querySelectorAll('thead')].every(h => getComputedStyle(h).display === 'table-header-group')"
    assert page.evaluate(heads)
    plain = page.pdf(format="A4", print_background=True)
    page.evaluate(_NUMBERED)
    marked = page.pdf(format="A4", print_background=True)
    page.close()
    sheets_of: dict[str, set[int]] = {}
    for number, text in enumerate(sheets(pypdfium2, marked)):
        for row in re.findall(r"qz(\d+)q", text):
            sheets_of.setdefault(row, set()).add(number)
    assert kind in {"changes", "backtest"} or len(sheets_of) > 4
    assert {row: found for row, found in sheets_of.items() if len(found) > 1} == {}
    assert CAUTION in re.sub(r"\s+", " ", " ".join(sheets(pypdfium2, plain)))
    document = pypdfium2.PdfDocument(plain)
    document[0].render(scale=1.2).to_pil().save(shots / f"{kind}_paper.png")
    document.close()


def sheets(pypdfium2: Any, printed: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(printed)
    texts = [sheet.get_textpage().get_text_range() for sheet in document]
    document.close()
    return texts


def test_heads_of_long_tables_stay_in_sight(browser: Any, demo: Path) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    for kind, table in (
        ("boat", "section[aria-labelledby=seen] table.boat"),
        ("guidance", "table.guide"),
        ("index", "table.heat"),
    ):
        page.goto(page_of(demo, kind).as_uri())
        page.locator(f"{table} tbody tr").nth(14).scroll_into_view_if_needed()
        page.evaluate(
            "t => document.querySelector(t + ' tbody tr:nth-child(12)').scrollIntoView({block: 'center'})", table
        )
        head = page.locator(f"{table} thead th").first.bounding_box()
        assert head is not None
        assert 0 <= head["y"] < 450, kind
    page.close()


def test_the_fleet_page_answers_in_one_look(browser: Any, demo: Path) -> None:
    """On a desk's first screen: which boats first, why the first, what is not known, what was assumed."""
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.goto((demo / "index.html").as_uri())
    for heading in ("answer", "why", "gaps", "taken"):
        box = page.locator(f"#{heading}").bounding_box()
        assert box is not None, heading
        assert box["y"] + box["height"] < 900, heading
    page.close()


def test_looks_behind_a_fitting_open_by_keyboard(browser: Any, demo: Path) -> None:
    page = browser.new_page()
    page.goto(page_of(demo, "boat").as_uri())
    assert not page.locator("details table").first.is_visible()
    page.locator("summary").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("details table").first.is_visible()
    page.close()


def test_a_boat_of_forty_parts_is_few_sheets_of_paper(browser: Any, demo: Path) -> None:
    """Ten sheets at most for some 45 parts, each with its reason: before paper had widths of its own they were 14."""
    pypdfium2 = pytest.importorskip("pypdfium2")
    page = browser.new_page()
    page.goto((demo / "boats" / "C16.html").as_uri())
    page.emulate_media(media="print")
    parts = page.locator("table.boat tbody tr").count()
    printed = sheets(pypdfium2, page.pdf(format="A4", print_background=True))
    page.close()
    assert parts > 40
    assert len(printed) <= 10
    assert len(re.findall(r"chance of an indication-worthy", " ".join(" ".join(printed).split()))) > 40
