"""Several small plots on one field, each with an axis of its own, all in pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis
from backbench.charts.chart_text import text_width
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.mark_layers import Row, pixel_x_axis, pixel_y_axis
from backbench.charts.page_layout import PlotArea, layer, text_mark
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


LEAST_APART = 10.0
"""Pixels between the numbers of two ticks."""


@dataclass(frozen=True)
class Panel:
    """The rectangle of one small plot, in pixels of the field."""

    left: float
    top: float
    right: float
    bottom: float

    def ground(self, x_axis: Axis, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
        """Gridlines with the numbers of both axes, those that would lie on each other left out."""
        marks = _numbered(x_axis)
        upright = [{"px": px, "px2": px, "py": self.top, "py2": self.bottom} for px, _ in marks]
        return [
            *straight_lines(upright, area.width, area.height),
            *scale_lines(y_axis, self.left, self.right, area.width, area.height),
            *(text_mark(text, px, self.bottom + 20, theme.SMALL_PX, align="center")
              for px, text in marks),
        ]  # fmt: skip


def _numbered(x_axis: Axis) -> list[tuple[float, str]]:
    """Pixel and number of the ticks that have room: the ends first, then powers of ten."""
    labels = axis_labels(x_axis.ticks, x_axis.unit, log=x_axis.log)
    ends = (x_axis.ticks[0], x_axis.ticks[-1])
    needed = sorted(
        zip(x_axis.ticks, labels, strict=True),
        key=lambda tick: (tick[0] not in ends, not _is_power_of_ten(tick[0])),
    )
    kept: list[tuple[float, str]] = []
    for px, text in [(x_axis.px(tick), label) for tick, label in needed]:
        width = text_width(text, theme.SMALL_PX)
        if all(abs(px - other) >= (width + text_width(name, theme.SMALL_PX)) / 2 + LEAST_APART
               for other, name in kept):  # fmt: skip
            kept.append((px, text))
    return sorted(kept)


def _is_power_of_ten(value: float) -> bool:
    return value > 0 and math.isclose(math.log10(value) % 1.0, 0.0, abs_tol=1e-9)


def panel_grid(
    names: Sequence[str],
    area: PlotArea,
    columns: int,
    gap: float,
    between_rows: float | None = None,
) -> dict[str, Panel]:
    """A panel for each name, row by row, in so many columns with gaps between."""
    down = gap if between_rows is None else between_rows
    rows = -(-len(names) // columns)
    wide = (area.width - gap * (columns - 1)) / columns
    high = (area.height - down * (rows - 1)) / rows
    result = {}
    for k, name in enumerate(names):
        row, column = divmod(k, columns)
        left, top = column * (wide + gap), row * (high + down)
        result[name] = Panel(left, top, left + wide, top + high)
    return result
