"""What the page of evidence shows: curves, classes, methods, watched years, checks on past seasons."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.report.checks import checks_of

if TYPE_CHECKING:
    from bobstay.report.fleet import Fleet, Row

_STEPS = (50, 150, 400)  # fitting-years watched: ends of the steps of the scale


def evidence_of(fleet: Fleet) -> dict[str, Any]:
    """Return the context of the page: the chart of curves and the watched years by class and age band."""
    from bobstay.charts import curves_chart

    estimate = fleet.settings.estimate
    curves = curves_chart(
        fleet.tables["classes"],
        fleet.draws,
        fleet.tables["nonparametric"],
        interval=estimate.interval,
        seed=estimate.seed,
        wording=fleet.wording,
    )
    bands, watched = _watched(fleet)
    shown: dict[str, Any] = {"curves": curves, "bands": bands, "watched": watched, "steps": _steps_by_class(fleet)}
    classes = fleet.tables["classes"]
    shown |= {
        "enough": sum(c["evidence"] == "enough" for c in classes),
        "found": sum(c["event_count"] or 0 for c in classes),
        "parts": sum(c["life_count"] or 0 for c in classes),
    }
    return shown | checks_of(fleet)


def _watched(fleet: Fleet) -> tuple[list[int], dict[str, list[tuple[str, int]]]]:
    """Return the age bands that hold anything and, by class, (step of the scale, fitting-years) in each."""
    rows = fleet.watched
    bands = sorted({r["band"] for r in rows if r["fitting_years"] >= 0.5})
    table: dict[str, list[tuple[str, int]]] = {}
    for row in rows:
        if row["band"] in bands:
            years = round(row["fitting_years"])
            table.setdefault(fleet.class_name(row), []).append((_step(years), years))
    return bands, table


def _step(years: int) -> str:
    return "e0" if years == 0 else f"e{1 + sum(years >= s for s in _STEPS)}"


def _steps_by_class(fleet: Fleet) -> dict[str, list[Row]]:
    table: dict[str, list[Row]] = {}
    for row in fleet.tables["nonparametric"]:
        table.setdefault(fleet.class_name(row), []).append(row)
    return table
