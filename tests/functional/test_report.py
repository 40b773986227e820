"""The pages, read back as a reader's machine would: links, words, tables, charts, bytes.

Rules of tables, headings and contrast are those of the Web Content Accessibility Guidelines 2.2 (W3C).
"""

from __future__ import annotations

import colorsys
import itertools
import math
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import duckdb
import pytest
from hypothesis import given
from hypothesis import strategies as st

import fleet_fixture as fixture
from bobstay import charts
from bobstay.charts import svg
from bobstay.errors import UsageError
from bobstay.report import page_names, words, write_pages
from bobstay.report.site import template_text
from bobstay.report.spans import since
from bobstay.settings import Settings, Words
from bobstay.wording import wording_of

FORMS = wording_of(Words()).forms


def written(out: Path, *, invented: bool = True, **made: object) -> list[Path]:
    with duckdb.connect() as con:
        fixture.build(con, **made)
        settings = replace(Settings(), invented=invented)
        return write_pages(con, out, settings=settings, as_of=fixture.AS_OF, say=lambda _: None)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("pages")
    written(out)
    return out


@pytest.fixture(scope="module")
def pages(site: Path) -> dict[str, str]:
    return {p.relative_to(site).as_posix(): p.read_text(encoding="utf-8") for p in sorted(site.rglob("*.html"))}


class Tags(HTMLParser):
    """Every start tag with its attributes, in order, and the text of the page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def test_every_promised_page_is_written_and_nothing_else(site: Path) -> None:
    names = {p.relative_to(site).as_posix() for p in site.rglob("*") if p.is_file()}
    fleet = {f"{n}.html" for n in ("index", "guidance", "plan", "changes", "evidence", "backtest", "records", "method")}
    assert names == fleet | {"style.css"} | {f"boats/{n}.html" for n in page_names(fixture.BOAT_IDS).values()}


def test_every_link_leads_to_a_page_that_is_there(site: Path, pages: dict[str, str]) -> None:
    for name, page in pages.items():
        links = [a["href"] or "" for a in Tags(page).named("a") + Tags(page).named("link")]
        assert links
        for link in links:
            path, _, anchor = link.partition("#")
            target = (site / name).parent / unquote(path) if path else site / name
            assert target.is_file(), (name, link)
            assert not anchor or f'id="{anchor}"' in target.read_text(encoding="utf-8"), (name, link)


def test_text_of_users_stays_text(pages: dict[str, str]) -> None:
    for page in pages.values():
        assert "<script" not in page.lower()
        assert "<i>marks" not in page
        assert "<b>fine" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in pages["index.html"]


def test_no_page_has_script_style_or_anything_from_outside(pages: dict[str, str]) -> None:
    for page in pages.values():
        policy = "default-src 'none'; style-src 'self'; img-src 'self' data:"
        assert any(m.get("content") == policy for m in Tags(page).named("meta"))
        for tag, attributes in Tags(page).tags:
            assert tag not in {"script", "style", "iframe", "object", "img", "form"}
            assert not any(k.startswith("on") or k == "style" for k in attributes)
            outside = [v for k, v in attributes.items() if v and "//" in v and k != "xmlns" and k != "xmlns:xlink"]
            assert not outside


def test_every_page_carries_the_caution_and_never_the_one_word(pages: dict[str, str]) -> None:
    for page in pages.values():
        assert "It does not say that a fitting or a boat is fit for sea." in page
        assert not re.search(r"\bsafe", " ".join(Tags(page).words), re.IGNORECASE)
        assert "Invented data" in page


def test_real_data_are_not_called_invented(tmp_path: Path) -> None:
    pages = [p for p in written(tmp_path, invented=False) if p.suffix == ".html"]
    assert pages
    assert not any("nvented" in p.read_text(encoding="utf-8") for p in pages)


def test_no_missing_value_shows_through(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        text = " ".join(Tags(page).words)
        assert not re.search(r"\b(nan|None|NaT|inf|undefined)\b", text), name


def test_headings_are_in_order_and_tables_say_what_they_are(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        levels = [int(tag[1]) for tag, _ in Tags(page).tags if re.fullmatch(r"h[1-6]", tag)]
        assert levels.count(1) == 1, name
        assert all(b <= a + 1 for a, b in itertools.pairwise(levels)), (name, levels)
        tables = re.findall(r"<table.*?</table>", page, re.DOTALL)
        assert all("<caption" in t for t in tables), name
        assert all(th.get("scope") for th in Tags(page).named("th")), name
        regions = [d for d in Tags(page).named("div") if d.get("role") == "region"]
        assert len(regions) >= len(tables)
        assert all(d.get("tabindex") == "0" and d.get("aria-label") for d in regions)


def test_every_drawing_has_a_title_and_no_name_twice(pages: dict[str, str]) -> None:
    for name, page in pages.items():
        for drawing in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
            assert 'role="img"' in drawing
            assert re.match(r"<svg[^>]*><title>[^<]+</title>", drawing)
        ids = re.findall(r' id="([^"]+)"', page)
        assert len(ids) == len(set(ids)), name


def test_the_fleet_page_answers_first(pages: dict[str, str]) -> None:
    page = pages["index.html"]
    head = page[: page.index("Boats that come out first")]
    for said in ("Take out", "Why ", "What we do not know", "What was assumed", "at the outside", "nobody has looked"):
        assert said in head


def test_none_aboard_differs_from_hardly_any_chance(pages: dict[str, str]) -> None:
    heat = re.search(r'<table class="heat">.*?</table>', pages["index.html"], re.DOTALL)
    assert heat
    assert "<td>-</td>" in heat.group()
    assert re.search(r'<td class="h\d">\d+[°!]?</td>', heat.group())
    assert "none aboard" in pages["index.html"]


def test_fitting_numbers_are_those_of_the_table(pages: dict[str, str]) -> None:
    with duckdb.connect() as con:
        fixture.build(con)
        row = con.execute(
            "SELECT boat_id, chance, chance_lower, chance_upper FROM priority WHERE list = 'evidence' AND rank = 3"
        ).fetchone()
    assert row
    boat = pages[f"boats/{page_names(fixture.BOAT_IDS)[row[0]]}.html"]
    assert f"<b>{round(100 * row[1])} %</b>" in boat
    assert FORMS.interval(row[2], row[3]) in boat


def test_without_estimates_the_pages_say_so(tmp_path: Path) -> None:
    written(tmp_path, estimates=False)
    page = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert "too little evidence for any chance" in page
    assert "no estimate" in page
    assert "refused: no finding" in (tmp_path / "evidence.html").read_text(encoding="utf-8")


def test_a_missing_stage_is_named(tmp_path: Path) -> None:
    with duckdb.connect() as con, pytest.raises(UsageError, match="no table classes"):
        write_pages(con, tmp_path, settings=Settings(), as_of=fixture.AS_OF, say=lambda _: None)


def test_twice_gives_equal_bytes(site: Path, tmp_path: Path) -> None:
    for path in written(tmp_path):
        assert path.read_bytes() == (site / path.relative_to(tmp_path)).read_bytes(), path.name


def test_five_hundred_boats_stay_under_the_size_of_a_picture(tmp_path: Path) -> None:
    written(tmp_path, more_boats=488)
    size = (tmp_path / "index.html").stat().st_size
    assert len(list((tmp_path / "boats").iterdir())) == 500
    assert size < 600_000


def test_ages_chart_draws_a_bar_a_notch_and_a_number_for_each_class() -> None:
    rows = [fixture._guidance(i, c) for i, c in enumerate(fixture.CLASSES)]
    drawing = charts.ages_chart(rows, wording_of(Words()))
    for row in rows:
        assert f">{row['fitting_type']}, {row['material']}</text>" in drawing
        assert drawing.count(f">{row['test_from_years']:g}</text>") >= 1
        assert drawing.count(f">{row['replace_by_years']:g}</text>") >= 1
    assert drawing.count(f'fill="{svg.OXBLOOD}"') >= len(rows)
    notches = sum(math.ceil((r["replace_by_years"] - 0.2 - r["test_from_years"]) / r["retest_years"]) - 1 for r in rows)
    assert drawing.count(f'fill="{svg.TEAL}"') == notches
    assert "thin evidence, beyond the evidence" in drawing


def test_ages_chart_of_nothing_is_nothing() -> None:
    row = fixture._guidance(0, fixture.CLASSES[0]) | {"test_from_years": None}
    assert charts.ages_chart([row], wording_of(Words())) == ""
    assert charts.ages_chart([], wording_of(Words())) == ""


def test_curves_chart_draws_line_band_and_boxes_for_each_class(pages: dict[str, str]) -> None:
    chart = pages["evidence.html"]
    chart = chart[chart.index('aria-label="Curves of each class"') :]
    chart = chart[: chart.index("</svg>")]
    assert chart.count("parts had an indication") == len(fixture.CLASSES)
    assert chart.count(f'stroke="{svg.TEAL}"') >= 2 * len(fixture.CLASSES)
    assert chart.count(f'fill="{svg.TEAL_BAND}"') >= len(fixture.CLASSES)
    assert chart.count(f'fill="{svg.MUTED}"') >= 6 * len(fixture.CLASSES)


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "<1"), (0.0099, "<1"), (0.01, "1"), (0.342, "34"), (0.99, "99"), (0.991, ">99"), (1.0, ">99"),
     (math.nan, "no estimate"), (None, "no estimate")],
)  # fmt: skip
def test_percent_words(share: float | None, text: str) -> None:
    """Whole percent with the two open ends: the rule of this project."""
    assert FORMS.percent(share) == text


def test_other_words() -> None:
    assert FORMS.interval(0.21, 0.52) == "21–52 %"
    assert FORMS.interval(0.5, 0.9999) == "50 to >99 %"
    assert FORMS.interval(0.001, 0.002) == "<1 %"
    assert FORMS.interval(None, 0.5) == "bounds not known"
    assert FORMS.years(math.inf) == "never"
    assert (FORMS.years(7.5), FORMS.years(10.0), FORMS.years(None)) == ("7.5", "10", "-")
    assert FORMS.number(12345.6) == "12\u2009346"
    assert FORMS.day(date(2026, 3, 4)) == "4 Mar 2026"
    assert [words.step(x) for x in (0.019, 0.02, 0.6, None)] == ["h0", "h1", "h5", "hx"]


@pytest.mark.parametrize(
    ("day", "text"),
    [(date(2027, 1, 10), "today"), (date(2027, 1, 9), "1 day ago"), (date(2027, 2, 8), "in 29 days"),
     (date(2026, 7, 10), "6 months ago"), (date(2023, 1, 10), "4 years ago"), (date(2024, 7, 10), "2.5 years ago"),
     (None, "-")],
)  # fmt: skip
def test_time_since_and_until_a_day(day: date | None, text: str) -> None:
    assert since(day, as_of=date(2027, 1, 10), wording=wording_of(Words())) == text


def test_page_names_of_odd_ids() -> None:
    names = page_names(["../x", "a/b", "A", "a", "con", "é", "", "=2F"])
    assert names["../x"] == "=2E=2E=2Fx"
    assert names["con"] == "=63on"
    assert names["é"] == "=C3=A9"
    assert sorted((names["A"], names["a"])) == ["A", "a~2"]


@given(st.sets(st.text(max_size=140), max_size=12))
def test_page_names_are_plain_and_never_the_same(ids: set[str]) -> None:
    names = page_names(ids)
    assert set(names) == ids
    assert all(re.fullmatch(r"[A-Za-z0-9_=~-]{1,120}", n) for n in names.values())
    assert len({n.casefold() for n in names.values()}) == len(ids)


def colours(css: str) -> set[str]:
    return set(re.findall(r"#[0-9a-f]{6}\b", css))


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def schemes() -> list[dict[str, str]]:
    css = template_text("style.css")
    blocks = re.findall(r":root \{(.*?)\}", css, re.DOTALL)
    roots = [dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block)) for block in blocks]
    return [roots[0], roots[0] | roots[1]]


def test_no_green_anywhere(pages: dict[str, str]) -> None:
    drawn = "".join(re.findall(r'(?:fill|stroke)="#[0-9a-f]{6}"', "".join(pages.values())))
    for colour in colours(template_text("style.css") + drawn):
        hue, _, full = colorsys.rgb_to_hls(*(int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)))
        spread = max(int(colour[i : i + 2], 16) for i in (1, 3, 5)) - min(int(colour[i : i + 2], 16) for i in (1, 3, 5))
        assert spread < 16 or full < 0.05 or not 75 < 360 * hue < 165, colour


@pytest.mark.parametrize("scheme", [0, 1])
def test_contrast_of_text_is_at_least_four_and_a_half(scheme: int) -> None:
    c = schemes()[scheme]
    pairs = [(c[ink], c[ground]) for ink in ("ink", "soft", "link", "rust") for ground in ("paper", "card")]
    pairs += [("#1d1509", c[h]) for h in ("h0", "h1", "h2", "h3", "e1", "e2")]
    pairs += [("#ffffff", c[h]) for h in ("h4", "h5", "e3", "e4", "blood")]
    pairs += [("#3d2a0c", c["h1"]), (c["paper"], c["ink"])]
    assert [(a, b, round(contrast(a, b), 2)) for a, b in pairs if contrast(a, b) < 4.5] == []


def test_contrast_of_text_in_charts_is_at_least_four_and_a_half() -> None:
    for ink in (svg.INK, svg.MUTED, svg.RUST):
        assert contrast(ink, "#ffffff") >= 4.5
    assert contrast("#ffffff", svg.OXBLOOD) >= 4.5
