"""The pictures of the guide's method page: `python -m bobstay.bench.pictures reports/pictures`.

Each is drawn from numbers worked out here by the functions that do the job, on cases that are invented and stated.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay import detection, weibull
from bobstay.charts.svg import INK, MUTED, RUST, TEAL, TEAL_PALE, drawn, inline
from bobstay.inspection_interval import DelayTimeCase, delay_time
from bobstay.rank.choice import Stakes, weigh
from bobstay.settings import Costs, Rates

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    Row = dict[str, Any]

WIDTH, HEIGHT = 560, 230
MARGIN = 48
PAPER = f'</title><rect x="{-MARGIN}" width="100%" height="100%" fill="#fbfaf6"/>'
_BOX = re.compile(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)" width="[^"]+" height="[^"]+"')
SHAPE, SCALE = 2.5, 25.0  # of the invented class
EYE, DYE = 0.3, 0.75  # chance that the eye, and a penetrant test, show a crack that is there
GROWTH_YEARS, GROWTH_SPREAD = 4.0, 0.5
CONSEQUENCE_UNITS = 300.0  # of class 4
FALSE_CALL = 0.03
SEED = 4


@dataclass(frozen=True, slots=True)
class Life:
    """One invented part: when the boat came under watch, when it was looked at, and at which look a crack showed."""

    name: str
    joined: float
    looks: tuple[float, ...]
    shown: float | None


LIVES = (
    Life("found at the third look", 0, (5, 10, 15), 15),
    Life("never found so far", 0, (6, 12, 18), None),
    Life("found at the first look", 0, (9,), 9),
    Life("a boat that joined late", 8, (12, 17), 17),
    Life("nobody looked", 0, (), None),
)
LIMIT = 20.0


def lives() -> str:
    """Return the picture of what five histories say of the age at which a crack began."""
    import altair as alt

    known = [{"life": life.name, **part} for life in LIVES for part in _spans(life)]
    looks = [
        {"life": life.name, "age": at, "result": "crack shown" if at == life.shown else "nothing shown"}
        for life in LIVES
        for at in life.looks
    ]
    order = [life.name for life in LIVES]
    rows = alt.Y("life:N", sort=order, title=None, axis=alt.Axis(labelLimit=220))
    kinds = ["ruled out", "may have begun here", "not watched"]
    spans = (
        alt.Chart(inline(known))
        .mark_bar(height=12)
        .encode(
            x=alt.X("start:Q", title="age of the part, years", scale=alt.Scale(domain=[0, 25])),
            x2="end:Q",
            y=rows,
            color=alt.Color(
                "what:N", title="a crack", scale=alt.Scale(domain=kinds, range=[TEAL_PALE, RUST, "#dfe3e2"])
            ),
        )
    )
    marks = (
        alt.Chart(inline(looks))
        .mark_point(size=70, filled=True, color=INK, opacity=1)
        .encode(
            x="age:Q",
            y=rows,
            shape=alt.Shape("result:N", title="a look", scale=alt.Scale(range=["triangle-up", "circle"])),
        )
    )
    return _picture((spans + marks).resolve_scale(color="independent", shape="independent"), "lives")


def _spans(life: Life) -> Iterator[Row]:
    """Split a life into what its looks rule out, leave open, and never watched."""
    clear = max((at for at in life.looks if at != life.shown), default=life.joined)
    if life.joined:
        yield {"what": "not watched", "start": 0.0, "end": life.joined}
    if clear > life.joined:
        yield {"what": "ruled out", "start": life.joined, "end": clear}
    yield {"what": "may have begun here", "start": clear, "end": life.shown or LIMIT}


def missed() -> str:
    """Return the picture of the chance that a crack is there after looks, a year apart, that showed nothing."""
    rows = [
        {"looks": count, "chance": still_there(count, found), "method": name}
        for name, found in (("by eye (shows 30 of 100)", EYE), ("penetrant (shows 75 of 100)", DYE))
        for count in range(7)
    ]
    chart = _lines(rows, ("looks", "looks from year 15 on, all clear", "d"), ("chance", "chance of a crack", "%"))
    return _picture(chart, "missed")


def still_there(count: int, found: float) -> float:
    """Return the chance of a crack at the last of `count` yearly looks from year 15 on, all clear: Bayes' rule."""
    if not count:
        return float(-np.expm1(-((15.0 / SCALE) ** SHAPE)))
    ages = [15.0 + year for year in range(count)]
    clear = detection.log_likelihood(SHAPE, SCALE, ages, [0] * count, found, 0.0)
    sound = -((ages[-1] / SCALE) ** SHAPE)
    return float(-np.expm1(sound - clear))


def few() -> str:
    """Return the picture of one class estimated from few parts and from many, with intervals of nine in ten."""
    import altair as alt

    ages = np.linspace(0.5, 30, 60)
    rows = [row for count in (25, 250) for row in _estimated(count, ages)]
    truth = [{"age": age, "truth": share} for age, share in zip(ages, _share(ages, SHAPE, SCALE), strict=True)]
    x = alt.X("age:Q", title="age of the part, years")
    y = alt.Y("low:Q", title="share with a crack", axis=alt.Axis(format="%"), scale=alt.Scale(domain=[0, 1]))
    name = alt.Color("parts:N", title=None, scale=alt.Scale(range=[RUST, TEAL]))
    band = alt.Chart(inline(rows)).mark_area(opacity=0.25).encode(x=x, y=y, y2="high:Q", color=name)
    line = alt.Chart(inline(rows)).mark_line().encode(x=x, y="share:Q", color=name)
    true = alt.Chart(inline(truth)).mark_line(color=INK, strokeDash=[4, 4]).encode(x=x, y="truth:Q")
    return _picture(band + line + true, "few")


def _estimated(count: int, ages: Any) -> Iterator[Row]:
    """Estimate the class from so many parts, looked at every five years until year 20 by a test that never errs."""
    rng = np.random.default_rng(SEED)
    onset = SCALE * rng.weibull(SHAPE, count)
    upper = np.where(onset < LIMIT, np.ceil(onset / 5) * 5, np.inf)
    made = weibull.estimate(None, np.where(onset < LIMIT, upper - 5, LIMIT), upper)
    draws = np.exp(rng.multivariate_normal(np.log([made.shape, made.scale]), made.covariance, 2000))
    shares = _share(ages[:, None], draws[:, 0], draws[:, 1])
    low, high = np.quantile(shares, [0.05, 0.95], axis=1)
    found = int(np.isfinite(upper).sum())
    for age, share, a, b in zip(ages, _share(ages, made.shape, made.scale), low, high, strict=True):
        yield {"parts": f"{count} parts, {found} cracks", "age": age, "share": share, "low": a, "high": b}


def _share(ages: Any, shape: Any, scale: Any) -> Any:
    return -np.expm1(-((ages / scale) ** shape))


def choice() -> str:
    """Return the picture of what leaving, testing and renewing a part of class 4 cost in expectation."""
    chance = np.linspace(0, 0.3, 61)
    stakes = Stakes(chance, chance, np.full_like(chance, CONSEQUENCE_UNITS), np.zeros_like(chance))
    made = weigh(stakes, [Rates(found=DYE, false_call=FALSE_CALL)], Costs())
    ways = {"leave": made.leave, "penetrant test": made.test, "renew": made.replace}
    rows = [
        {"chance": c, "cost": v, "way": name}
        for name, cost in ways.items()
        for c, v in zip(chance, cost, strict=True)
        if v <= 15
    ]
    chart = _lines(rows, ("chance", "chance of a crack", "%"), ("cost", "expected cost, units"), by="way")
    return _picture(chart, "choice")


def retest() -> str:
    """Return the picture of how often a part breaks before its crack is found, by the time between tests."""
    rows = [
        {"years": years, "chance": breaks(years, found), "method": name}
        for name, found in (("by eye (shows 30 of 100)", EYE), ("penetrant (shows 75 of 100)", DYE))
        for years in np.arange(0.5, 8.01, 0.25)
    ]
    chart = _lines(rows, ("years", "years between tests"), ("chance", "breaks before it is found", "%"))
    return _picture(chart, "retest")


def breaks(years: float, found: float) -> float:
    """Return the chance that a part of the class breaks before a test, every so many `years`, finds its crack."""
    case = DelayTimeCase(
        shape=SHAPE, scale=SCALE, growth_median=GROWTH_YEARS, growth_spread=GROWTH_SPREAD, found=found,
        false_call=FALSE_CALL, test_cost=1, false_call_cost=1, replacement_cost=1, failure_cost=1,
    )  # fmt: skip
    return delay_time(years, case).failure_chance


def _lines(rows: Sequence[Row], across: tuple[str, ...], up: tuple[str, ...], *, by: str = "method") -> Any:
    """Draw rows as lines; `across` and `up` are the column, its title and, where there is one, its format."""
    import altair as alt

    def axis(told: tuple[str, ...]) -> Any:
        return alt.Axis(format=told[2], tickMinStep=1 if told[2] == "d" else 0) if len(told) > 2 else alt.Axis()

    return (
        alt.Chart(inline(rows))
        .mark_line(point=len(rows) < 20, strokeWidth=2.5)
        .encode(
            x=alt.X(f"{across[0]}:Q", title=across[1], axis=axis(across)),
            y=alt.Y(f"{up[0]}:Q", title=up[1], axis=axis(up)),
            color=alt.Color(f"{by}:N", title=None, scale=alt.Scale(range=[RUST, TEAL, MUTED])),
            strokeDash=alt.StrokeDash(f"{by}:N", title=None),
        )
    )


TITLES = {
    "lives": "What five histories say of the age at which a crack began",
    "missed": "The chance that a crack is there, after looks that showed nothing",
    "few": "One class estimated from few parts and from many; dashed: the truth",
    "choice": "What leaving, testing and renewing a part of class 4 cost in expectation",
    "retest": "How often a part breaks before its crack is found, by the time between tests",
}
PICTURES: dict[str, Callable[[], str]] = {
    "lives": lives, "missed": missed, "few": few, "choice": choice, "retest": retest,
}  # fmt: skip


def _picture(chart: Any, name: str) -> str:
    """Return the SVG on paper of its own, so that it can be read on a dark ground too."""
    svg = drawn(chart.properties(width=WIDTH, height=HEIGHT), name=name, title=TITLES[name])
    return _BOX.sub(_widened, svg, count=1).replace("</title>", PAPER, 1)


def _widened(found: re.Match[str]) -> str:
    """Leave room at both sides: the letters of a reader's own fonts may be wider than those it was laid out with."""
    width, height = float(found[1]) + 2 * MARGIN, float(found[2])
    return f'viewBox="{-MARGIN} 0 {width:g} {height:g}" width="{width:g}" height="{height:g}"'


def main() -> None:
    """Write every picture into the folder named."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in PICTURES.items():
        (folder / f"method_{name}.svg").write_text(draw() + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
