"""The ages at which each class is first tested, tested again and renewed, on one axis."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from bobstay.charts.svg import GROUND, INK, OXBLOOD, RUST, TEAL, TEAL_PALE, drawn, inline

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from bobstay.wording import Wording

_ROW = 27  # height of a class, px
_LONGEST_LABEL = 320
_LETTER = 7.2  # pixels of a letter in a wide font: a reader's own may be wider than the one laid out with
_WIDTH = 660
_BLOCK = 28  # width of the block that bears the renew-by age, px
_NOTES = {"thin": "charts.thin", "none": "charts.no_finding"}
_BAR: dict[str, Any] = {"height": 13, "yOffset": -4}


def ages_chart(guidance: Sequence[Mapping[str, Any]], wording: Wording) -> str:
    """Draw rows of the guidance table to SVG; an empty text where no class has an age.

    Bars run from the test-from to the replace-by age with a notch at each retest; lines under them are the bounds.
    """
    rows = [_bar(row, wording) for row in guidance if _given(row["test_from_years"])]
    if not rows:
        return ""
    end = _axis_end(rows)
    return drawn(_layers(rows, end, wording.say("charts.age")), name="ages", title=wording.say("charts.ages"))


def _bar(row: Mapping[str, Any], wording: Wording) -> dict[str, Any]:
    renew = row["replace_by_years"] if _given(row["replace_by_years"]) else None
    return {
        "class": f"{wording.word('type', row['fitting_type'])}, {wording.word('material', row['material'])}",
        "test": row["test_from_years"],
        "test_low": row["test_from_years_lower"],
        "test_high": row["test_from_years_upper"],
        "retest": row["retest_years"] if _given(row["retest_years"]) else None,
        "renew": renew,
        "renew_low": row["replace_by_years_lower"] if renew else None,
        "renew_high": row["replace_by_years_upper"] if renew else None,
        "oldest": row["oldest_years"],
        "note": _note(row["evidence"], wording, beyond=row["beyond_evidence"]),
        "test_text": wording.forms.years(row["test_from_years"]),
        "renew_text": wording.forms.years(renew),
    }


def _note(evidence: str, wording: Wording, *, beyond: bool) -> str:
    said = [wording.say(_NOTES[evidence])] if evidence in _NOTES else []
    return ", ".join([*said, wording.say("charts.beyond")] if beyond else said)


def _given(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def _axis_end(rows: Sequence[Mapping[str, Any]]) -> float:
    reach = [row[k] for row in rows for k in ("test", "renew", "oldest") if _given(row[k])]
    return float(min(60, 5 * math.ceil((max(reach) + 1) / 5)))


def _notches(rows: Sequence[Mapping[str, Any]], end: float) -> list[dict[str, Any]]:
    marks = []
    for row in rows:
        age, stop = row["test"], row["renew"] if row["renew"] is not None else end
        while row["retest"] and age + row["retest"] < stop - 0.2:
            age += row["retest"]
            marks.append({"class": row["class"], "at": age})
    return marks


def _spans(rows: Sequence[Mapping[str, Any]], end: float) -> list[dict[str, Any]]:
    pairs = [("test_low", "test_high", TEAL), ("renew_low", "renew_high", OXBLOOD)]
    return [
        {"class": row["class"], "low": min(row[low], end), "high": min(row[high], end), "ink": ink}
        for row in rows
        for low, high, ink in pairs
        if row[low] is not None and row[high] is not None
    ]


def _layers(rows: list[dict[str, Any]], end: float, axis: str) -> Any:
    import altair as alt

    bars = [r | {"stop": r["renew"] if r["renew"] is not None else end, "zero": 0} for r in rows]
    renewed = [r | {"stop": min(r["renew"] + end * _BLOCK / _WIDTH, end)} for r in rows if r["renew"] is not None]
    noted = [r for r in rows if r["note"]]
    ended = [r for r in rows if _given(r["oldest"]) and r["oldest"] <= end]
    base, across = _scales(rows, end, axis)
    text: dict[str, Any] = {"yOffset": -4, "fontWeight": "bold", "fontSize": 11}
    return alt.layer(
        base(bars).mark_bar(color=GROUND, **_BAR).encode(x=across("zero"), x2="test:Q"),
        base(bars).mark_bar(color=TEAL_PALE, **_BAR).encode(x=across("test"), x2="stop:Q"),
        base(_notches(rows, end)).mark_tick(color=TEAL, thickness=1.6, size=13, yOffset=-4).encode(x=across("at")),
        base(renewed).mark_bar(color=OXBLOOD, **_BAR).encode(x=across("renew"), x2="stop:Q"),
        base(_spans(rows, end))
        .mark_rule(strokeWidth=2.4, yOffset=7)
        .encode(x=across("low"), x2="high:Q", color=alt.Color("ink:N", scale=None)),
        base(ended).mark_tick(color=INK, thickness=3, size=20, yOffset=-2, opacity=1).encode(x=across("oldest")),
        base(bars).mark_text(align="right", dx=-4, **text).encode(x=across("test"), text="test_text:N"),
        base(renewed)
        .mark_text(align="center", dx=_BLOCK / 2, color="white", **text)
        .encode(x=across("renew"), text="renew_text:N"),
        base(noted)
        .mark_text(align="left", dx=8, fontStyle="italic", fontSize=11, color=RUST)
        .encode(x=alt.value(_WIDTH), text="note:N"),
    ).properties(width=_WIDTH, height=_ROW * len(rows))


def _scales(rows: list[dict[str, Any]], end: float, title: str) -> tuple[Callable[[Any], Any], Callable[[str], Any]]:
    """Return the maker of a layer on the classes' axis, and that of a place on the axis of ages."""
    import altair as alt

    order = [r["class"] for r in sorted(rows, key=lambda r: (r["test"], r["class"]))]
    room = min(_LONGEST_LABEL, _LETTER * max(map(len, order)))
    lines = alt.Axis(ticks=False, domain=False, labelLimit=_LONGEST_LABEL, labelPadding=8, minExtent=room, grid=False)
    scale = alt.Scale(paddingInner=0.1, paddingOuter=0.1)
    y = alt.Y("class:N", sort=order, title=None, scale=scale, axis=lines)
    ages = alt.Scale(domain=[0, end], nice=False)
    axis = alt.Axis(orient="top", tickMinStep=5, title=title)
    return (
        lambda values: alt.Chart(inline(values)).encode(y=y),
        lambda field: alt.X(f"{field}:Q", scale=ages, axis=axis),
    )
