"""Several small plots on one field, each with an axis of its own, all in pixels."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.mark_layers import Row, pixel_x_axis, pixel_y_axis
from backbench.charts.page_layout import layer, text_mark
from backbench.quantities.writing import axis_labels


def pixel_encodings(width: float, height: float) -> tuple[alt.X, alt.Y, alt.X2, alt.Y2]:
    """Encodings of the fields px, py, px2, py2 as pixels of the field."""
    x, y = pixel_x_axis(width), pixel_y_axis(height)
    return x.x("px"), y.y("py"), alt.X2("px2:Q"), alt.Y2("py2:Q")


def straight_lines(
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
    x, y, x2, y2 = pixel_encodings(width, height)
    mark = layer(rows).mark_rule(color=colour, strokeWidth=weight, strokeDash=list(dash))
    return [mark.encode(x=x, y=y, x2=x2, y2=y2, tooltip=no_tooltip())]


def scale_lines(
    y_axis: Axis, left: float, right: float, width: float, height: float, *, numbers: bool = True
) -> list[alt.Chart]:
    """Level gridlines of an upright axis over left..right, with its numbers at the left."""
    grid = [
        {"px": left, "px2": right, "py": y_axis.px(t), "py2": y_axis.px(t)} for t in y_axis.ticks
    ]
    drawn = straight_lines(grid, width, height)
    if numbers:
        labels = axis_labels(y_axis.ticks, y_axis.unit, log=y_axis.log)
        drawn += [
            text_mark(label, left - 8, y_axis.px(t) + 5, theme.SMALL_PX, align="right")
            for t, label in zip(y_axis.ticks, labels, strict=True)
        ]
    return drawn
