"""The few fleet charts, drawn to plain SVG that can stand inside a page: no script, no style, equal bytes each time."""

from bobstay.charts.ages import ages_chart
from bobstay.charts.curves import curves_chart

__all__ = ["ages_chart", "curves_chart"]
