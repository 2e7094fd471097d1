"""One unit over all its metrics, as percentiles among its peers."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis
from backbench.charts.chart_text import ordinal, shortened, text_width
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import Row
from backbench.charts.page_layout import (
    NARROW_END_PX,
    PlotArea,
    assemble,
    layer,
    message_chart,
    narrow,
    plot_area,
    text_mark,
)
from backbench.charts.small_multiples import pixel_encodings, straight_lines
from backbench.quantities.writing import number

COLUMNS = ("metric", "percentile", "low", "high")
MOST_METRICS = 20
NARROW_ROW_PX = 44.0


@chart("profile", COLUMNS, ("shown", "peers", "title"))
def profile(chart_input: ChartInput) -> alt.LayerChart:
    """One unit's percentile in each metric, with the interval that its uncertainty leaves.

    `shown` is the value in words, `peers` the number of units compared with, `title` the
    metric's name for readers.
    """
    rows = [r for r in chart_input.frame.to_dicts() if r["percentile"] is not None][:MOST_METRICS]
    if not rows:
        return message_chart(chart_input, "This unit has no metric with enough peers yet.")
    area = _area(chart_input, len(rows))
    x_axis = Axis(0.0, 100.0, 0.0, area.width, False, (0, 25, 50, 75, 100))
    step = min(area.height / len(rows), NARROW_ROW_PX if area.narrow else 44.0)
    share = 0.75 if area.narrow else 0.5
    placed = [_placed(r, x_axis, step * (k + share)) for k, r in enumerate(rows)]
    layers = [
        *_ground(x_axis, area, step * len(rows)),
        *_marks(placed, area),
        *_texts(placed, area),
        text_mark(
            chart_input.labels.title_of("percentile"),
            area.width / 2,
            area.height + 44,
            colour=theme.SOFT_INK,
            align="center",
        ),
    ]
    return assemble(chart_input, area, layers)


def _area(chart_input: ChartInput, rows: int) -> PlotArea:
    """With words at both sides of the rows, or above each on a phone."""
    if narrow(chart_input):
        side, tall = NARROW_END_PX, NARROW_ROW_PX * rows
        return plot_area(chart_input, left=side, right=side, bottom=58, above=8, tall=tall)
    return plot_area(chart_input, left=236, right=176, bottom=58, above=20)


def _placed(row: Row, x_axis: Axis, y: float) -> Row:
    low = row["percentile"] if row["low"] is None else row["low"]
    high = row["percentile"] if row["high"] is None else row["high"]
    whole = ordinal(round(row["percentile"]))
    text = f"{whole} percentile ({number(low)} to {number(high)})"
    name = row.get("title") or str(row["metric"]).replace("_", " ")
    return row | {
        "name": name,
        "px": x_axis.px(row["percentile"]),
        "py": y,
        "from": x_axis.px(x_axis.clamped(low)),
        "to": x_axis.px(x_axis.clamped(high)),
        "value_text": text,
    }


def _ground(x_axis: Axis, area: PlotArea, depth: float) -> list[alt.Chart]:
    """The middle half of the peers shaded, quartiles ruled and numbered."""
    x, y, x2, y2 = pixel_encodings(area.width, area.height)
    half = [{"px": x_axis.px(25), "px2": x_axis.px(75), "py": 0.0, "py2": depth}]
    shade = layer(half).mark_rect(color=theme.BAND, opacity=0.55)
    drawn = [shade.encode(x=x, y=y, x2=x2, y2=y2, tooltip=no_tooltip())]
    lines = [
        {"px": x_axis.px(t), "px2": x_axis.px(t), "py": 0.0, "py2": depth} for t in x_axis.ticks
    ]
    drawn += straight_lines(lines, area.width, area.height)
    middle = [{"px": x_axis.px(50), "px2": x_axis.px(50), "py": 0.0, "py2": depth}]
    drawn += straight_lines(middle, area.width, area.height, theme.SOFT_INK, 1.4)
    return drawn + [
        text_mark(number(t), x_axis.px(t), area.height + 20, align="center") for t in x_axis.ticks
    ]


def _marks(rows: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    x, y, x2, _ = pixel_encodings(area.width, area.height)
    bars = [r | {"px": r["from"], "px2": r["to"]} for r in rows]
    tips = [alt.Tooltip("name:N", title="metric"), alt.Tooltip("value_text:N", title="among peers")]
    bar = layer(bars).mark_rule(color=theme.INK, strokeWidth=2.4)
    dot = layer(rows).mark_point(
        filled=True, opacity=1, size=110, color=theme.INK, stroke=theme.PAPER, strokeWidth=1.2
    )
    return [bar.encode(x=x, x2=x2, y=y, tooltip=no_tooltip()), dot.encode(x=x, y=y, tooltip=tips)]


def _texts(rows: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    drawn = []
    for row in rows:
        if area.narrow:
            drawn += _above(row, area)
            continue
        name = shortened(row["name"], area.left - 46, theme.TEXT_PX)
        drawn.append(text_mark(name, -14, row["py"] + 5, align="right"))
        parts = [row.get("shown") or "", f"among {row['peers']}" if row.get("peers") else ""]
        text = shortened("\u2002".join(p for p in parts if p), area.right - 30, theme.SMALL_PX)
        if text:
            drawn.append(text_mark(text, area.width + 14, row["py"] + 5, theme.SMALL_PX))
    return drawn


def _above(row: Row, area: PlotArea) -> list[alt.Chart]:
    """Name and value on a line above the row's mark."""
    shown, y = row.get("shown") or "", row["py"] - 14
    room = area.paper_right - area.paper_left - text_width(shown, theme.SMALL_PX) - 12
    name = shortened(row["name"], room, theme.SMALL_PX)
    return [
        text_mark(name, area.paper_left, y, theme.SMALL_PX, halo=True),
        text_mark(shown, area.paper_right, y, theme.SMALL_PX, align="right", halo=True),
    ]
