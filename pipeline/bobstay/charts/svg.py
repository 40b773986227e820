"""From a chart to SVG text that is small, still, and alone in its names."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from bobstay.told import visible

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

INK, MUTED, GRID, GROUND = "#182a33", "#55656e", "#dfe3e2", "#eef0ef"
TEAL, TEAL_PALE, TEAL_BAND = "#0b6b78", "#a9cfd2", "#cfe3e5"
OXBLOOD, RUST, SAND = "#6f1d1b", "#a8442a", "#ecd9ae"
FONT = "Segoe UI, Roboto, Noto Sans, Liberation Sans, Helvetica Neue, Arial, sans-serif"

_AXIS: dict[str, Any] = {
    "labelColor": INK,
    "labelFontSize": 12,
    "titleColor": MUTED,
    "titleFontSize": 12,
    "titleFontWeight": "normal",
    "gridColor": GRID,
    "domainColor": MUTED,
    "tickColor": MUTED,
}
_LABELS = re.compile(r' (?:aria-[a-z]+|role|tabindex|style|class)="[^"]*"')
_IDS = re.compile(r'(id="|url\(#|href="#)')


def drawn(chart: Any, *, name: str, title: str) -> str:
    """Return `chart` as one <svg role="img"> with `title`; `name` goes before every id inside it.

    Labels of single marks are left out: a reader of the screen gets the title and the table beside the chart.
    """
    import vl_convert

    spec = _styled(chart).to_dict(validate=False)  # each part was checked when it was made; twice is slow
    # a control character is none of XML's: the renderer would not raise, but end the whole process
    return _cleaned(vl_convert.vegalite_to_svg(_drawable(spec)), name=name, title=visible(title))


def _drawable(part: Any) -> Any:
    """Return a part of a chart's description with the control characters of its texts written out."""
    if isinstance(part, dict):
        return {_drawable(key): _drawable(value) for key, value in part.items()}
    if isinstance(part, list):
        return [_drawable(value) for value in part]
    return visible(part) if isinstance(part, str) else part


def inline(rows: Sequence[Mapping[str, Any]]) -> Any:
    """Return `rows` as data that travel inside the chart."""
    import altair as alt

    return alt.Data(values=list(rows))  # type: ignore[no-untyped-call]


def _styled(chart: Any) -> Any:
    return (
        chart.configure(font=FONT, background="transparent", padding=4)
        .configure_axis(**_AXIS)
        .configure_view(stroke=None)
        .configure_text(color=INK, fontSize=12)
    )


def _cleaned(svg: str, *, name: str, title: str) -> str:
    head, body = svg.split(">", 1)
    size = re.search(r'viewBox="([^"]+)"', head)
    box = size.group(1) if size else "0 0 100 100"
    width, height = box.split()[2:]
    body = _IDS.sub(lambda m: f"{m.group(1)}{name}-", _LABELS.sub("", body))
    opening = f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="{box}" width="{width}" height="{height}">'
    return f"{opening}<title>{_escaped(title)}</title>{body}"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
