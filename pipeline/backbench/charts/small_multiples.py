"""Several small plots on one field, each with an axis of its own, all in pixels."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Ruler
from backbench.charts.constant_encodings import silent
from backbench.charts.mark_layers import Row, across, pixels
from backbench.charts.page_layout import layer, words
from backbench.quantities.writing import quantity


def positions(width: float, height: float) -> tuple[alt.X, alt.Y, alt.X2, alt.Y2]:
    """Encodings of the fields px, py, px2, py2 as pixels of the field."""
    x, y = across(width), pixels(height)
    return x.x("px"), y.y("py"), alt.X2("px2:Q"), alt.Y2("py2:Q")


def rules(
    rows: Sequence[Row],
    width: float,
    height: float,
    colour: str = theme.RULE,
    weight: float = 0.7,
    dash: tuple[int, ...] = (1, 0),
) -> list[alt.Chart]:
    """Straight lines from px, py to px2, py2."""
    if not rows:
        return []
    x, y, x2, y2 = positions(width, height)
    mark = layer(rows).mark_rule(color=colour, strokeWidth=weight, strokeDash=list(dash))
    return [mark.encode(x=x, y=y, x2=x2, y2=y2, tooltip=silent())]


def scale_lines(
    up: Ruler, left: float, right: float, width: float, height: float, *, numbers: bool = True
) -> list[alt.Chart]:
    """Level gridlines of an upright axis over left..right, with its numbers at the left."""
    grid = [{"px": left, "px2": right, "py": up.px(t), "py2": up.px(t)} for t in up.ticks]
    drawn = rules(grid, width, height)
    if numbers:
        drawn += [
            words(quantity(t, up.unit), left - 8, up.px(t) + 5, theme.SMALL_PX, align="right")
            for t in up.ticks
        ]
    return drawn
