"""One small curve a class: the estimate, its band, what the looks alone say, and where the evidence ends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay.charts.svg import GROUND, INK, MUTED, TEAL, TEAL_BAND, drawn, inline

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from bobstay.wording import Wording

_COLUMNS = 3
_POINTS = 33
_WIDTH, _HEIGHT = 306, 112


def curves_chart(
    classes: Sequence[Mapping[str, Any]],
    draws: Mapping[str, npt.NDArray[Any]],
    steps: Sequence[Mapping[str, Any]],
    *,
    interval: float,
    seed: int,
    wording: Wording,
) -> str:
    """Draw the share showing an indication by age, a panel a class; an empty text where no class has a curve.

    `draws` holds the columns of class_draws as arrays of shape (n,), `steps` rows of nonparametric. The band is that
    of one boat of this fleet: the spread of the parameters and of the boat effect together.
    """
    known = [row for row in classes if row["scale_years"] is not None]
    if not known:
        return ""
    end = max(10.0, 5 * np.ceil(max(row["oldest_years"] or 0.0 for row in known) * 1.25 / 5))
    ages = np.linspace(0.0, min(float(end), 50.0), _POINTS)
    rng = np.random.default_rng(seed)
    panels = [_panel(row, draws, steps, ages=ages, interval=interval, rng=rng, wording=wording) for row in known]
    return drawn(_grid(panels), name="curves", title=wording.say("evidence.curves_title"))


def _of_class(rows: Sequence[Mapping[str, Any]], row: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return [r for r in rows if r["fitting_type"] == row["fitting_type"] and r["material"] == row["material"]]


def _panel(
    row: Mapping[str, Any],
    draws: Mapping[str, npt.NDArray[Any]],
    steps: Sequence[Mapping[str, Any]],
    *,
    ages: npt.NDArray[np.float64],
    interval: float,
    rng: np.random.Generator,
    wording: Wording,
) -> list[dict[str, Any]]:
    found = wording.say("evidence.curves_found", found=row["event_count"], parts=row["life_count"])
    label = f"{wording.word('type', row['fitting_type'])}, {wording.word('material', row['material'])}|{found}"
    line, low, high = _band(row, draws, ages=ages, interval=interval, rng=rng)
    oldest = min(row["oldest_years"] or 0.0, float(ages[-1]))
    end = float(ages[-1])
    made: list[dict[str, Any]] = [{"class": label, "kind": "ground", "age": oldest, "to": end, "low": 0.0, "high": 1.0}]
    for age, middle, lower, upper in zip(ages.tolist(), line, low, high, strict=True):
        made.append({"class": label, "kind": "band", "age": age, "low": lower, "high": upper})
        made.append({"class": label, "kind": "inside" if age <= oldest else "beyond", "age": age, "share": middle})
    made += [made[-2 * (len(ages) - _last_inside(ages, oldest)) + 1] | {"kind": "beyond"}]
    return made + _boxes(_of_class(steps, row), label, end)


def _last_inside(ages: npt.NDArray[np.float64], oldest: float) -> int:
    return max(int(np.searchsorted(ages, oldest, side="right")) - 1, 0)


def _band(
    row: Mapping[str, Any],
    draws: Mapping[str, npt.NDArray[Any]],
    *,
    ages: npt.NDArray[np.float64],
    interval: float,
    rng: np.random.Generator,
) -> tuple[list[float], list[float], list[float]]:
    mine = (draws["fitting_type"] == row["fitting_type"]) & (draws["material"] == row["material"]) & (draws["draw"] > 0)
    line = _share(ages, np.array([np.log(row["scale_years"])]), np.array([np.log(row["shape"])]))[0]
    if not mine.any():
        return line.tolist(), line.tolist(), line.tolist()
    boat = draws["boat_sd"][mine].astype(float) * rng.standard_normal(int(mine.sum()))
    many = _share(ages, draws["log_scale"][mine].astype(float) + boat, draws["log_shape"][mine].astype(float))
    low, high = np.quantile(many, [(1 - interval) / 2, (1 + interval) / 2], axis=0)
    return line.tolist(), low.round(4).tolist(), high.round(4).tolist()


def _share(
    ages: npt.NDArray[np.float64], log_scale: npt.NDArray[np.float64], log_shape: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    with np.errstate(over="ignore"):
        hazard = (ages[None, :] / np.exp(log_scale)[:, None]) ** np.exp(log_shape)[:, None]
    return np.asarray(np.round(-np.expm1(-hazard), 4), dtype=np.float64)


def _boxes(steps: list[Mapping[str, Any]], label: str, end: float) -> list[dict[str, Any]]:
    return [
        {
            "class": label,
            "kind": "step",
            "age": s["age_from_years"],
            "to": min(s["age_to_years"], end),
            "share": round(1 - s["survival"], 4),
            "low": _rest(s["survival_upper"]),
            "high": _rest(s["survival_lower"]),
        }
        for s in steps
        if s["age_from_years"] < end
    ]


def _rest(survival: float | None) -> float | None:
    return None if survival is None else round(1 - survival, 4)


def _grid(panels: list[list[dict[str, Any]]]) -> Any:
    import altair as alt

    rows = [row for panel in panels for row in panel]
    share = alt.Axis(format="%", tickCount=3, title=None)
    x = alt.X("age:Q", title=None, scale=alt.Scale(nice=False), axis=alt.Axis(tickCount=5))
    scale = alt.Scale(domain=[0, 1])

    def kind(word: str) -> alt.Chart:
        return alt.Chart().transform_filter(f"datum.kind === '{word}'").encode(x=x)

    line = alt.Y("share:Q", scale=scale, axis=share)
    band = alt.Y("low:Q", scale=scale, axis=share)
    layers = alt.layer(
        kind("ground").mark_rect(color=GROUND).encode(x2="to:Q", y=band, y2="high:Q"),
        kind("band").mark_area(color=TEAL_BAND, opacity=0.9).encode(y=band, y2="high:Q"),
        kind("step").mark_rect(color=MUTED, opacity=0.22).encode(x2="to:Q", y=band, y2="high:Q"),
        kind("step").mark_rule(color=INK, strokeWidth=1.2).encode(x2="to:Q", y=line),
        kind("inside").mark_line(color=TEAL, strokeWidth=2.2).encode(y=line),
        kind("beyond").mark_line(color=TEAL, strokeWidth=2, strokeDash=[5, 3]).encode(y=line),
        data=inline(rows),
    ).properties(width=_WIDTH, height=_HEIGHT)
    header = alt.Header(labelExpr="split(datum.label, '|')", labelAnchor="start", labelAlign="left", labelFontSize=12,
                        labelColor=INK, labelLineHeight=15, labelPadding=6, title=None)  # fmt: skip
    order = [panel[0]["class"] for panel in panels]
    facet = alt.Facet("class:N", header=header, sort=order, title=None)
    return layers.facet(facet=facet, columns=_COLUMNS, spacing={"row": 18, "column": 22}).resolve_axis(x="independent")
