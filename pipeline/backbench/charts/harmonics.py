"""Harmonic levels, outputs side by side at two powers."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import ordinal
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import Row, name_labels, pixel_x_axis, pixel_y_axis, value_text
from backbench.charts.names_beneath import Named, beneath
from backbench.charts.page_layout import (
    NARROW_AXIS_PX,
    NARROW_END_PX,
    PlotArea,
    assemble,
    layer,
    message_chart,
    narrow,
    plot_area,
    text_mark,
)
from backbench.charts.small_multiples import (
    Panel,
    panel_grid,
    pixel_encodings,
    scale_lines,
    straight_lines,
)
from backbench.quantities.writing import quantity, value_alone

COLUMNS = ("unit_key", "label", "output", "power_w", "order_n", "level_db", "bound")
BETWEEN, BETWEEN_STACKED = 40.0, 66.0
NARROW_PANEL_PX = 190.0
SAME_POWER = 1.3
LOOKS = (("diamond", theme.SOFT_INK), ("circle", theme.INK))


def _finding(chart_input: ChartInput) -> str:
    """The strongest harmonic of the unit that is drawn, a bound only where all are bounds."""
    rows = [r for r in chart_input.rows_of_unit(_drawable) if r["power_w"] is not None]
    if not rows:
        return ""
    most = max(rows, key=lambda r: (not r["bound"], r["level_db"]))
    level = value_alone(most["level_db"], None, "dB", most["bound"])
    at = f"{quantity(float(most['power_w']), 'W')}, {most['output'] or 'measured output'}"
    return f"{most['label']}: {ordinal(int(most['order_n']))} harmonic strongest, {level} at {at}"


@chart("harmonics", COLUMNS, ("low_db", "high_db"), finding=_finding)
def harmonics(chart_input: ChartInput) -> alt.LayerChart:
    """Levels of the harmonics of one unit, its outputs side by side at two powers."""
    rows = chart_input.rows_of_unit(_drawable)
    if not rows:
        return message_chart(chart_input, "This unit has no harmonic levels yet.")
    if not chart_input.subject and chart_input.frame["unit_key"].n_unique() > 1:
        return message_chart(chart_input, "Harmonic levels are drawn for one unit: name it.")
    rows = _with_step(rows)
    if not rows:
        return message_chart(chart_input, "The harmonic levels of this unit have no power yet.")
    steps = sorted({r["step"] for r in rows})
    outputs = sorted({r["output"] or "output" for r in rows})
    area = _area(chart_input, len(outputs))
    panels = panel_grid(outputs, area, 1 if area.narrow else len(outputs), BETWEEN, BETWEEN_STACKED)
    layers: list[alt.Chart] = []
    for k, (output, panel) in enumerate(panels.items()):
        some = [r for r in rows if (r["output"] or "output") == output]
        y_axis = _levels(chart_input, rows, panel)
        numbered = area.narrow or k == 0
        layers += _panel(some, output, steps, panel, y_axis, area, first=numbered)
        if k == len(outputs) - 1 and not area.narrow:
            layers += _key(rows, steps, panel.right, y_axis, area)
    layers += _titles(chart_input, rows, area)
    if area.narrow:
        area, names = beneath(area, _powers(rows, steps))
        layers += names
    return assemble(chart_input, area, layers)


def _area(chart_input: ChartInput, outputs: int) -> PlotArea:
    """Panels side by side, or one above the other on a phone."""
    if narrow(chart_input):
        tall = NARROW_PANEL_PX * outputs + BETWEEN_STACKED * (outputs - 1)
        side = {"left": NARROW_AXIS_PX + 8, "right": NARROW_END_PX}
        return plot_area(chart_input, **side, bottom=62, above=58, tall=tall)
    return plot_area(chart_input, left=84, right=130, bottom=62, above=52)


def _drawable(row: Row) -> bool:
    return row["level_db"] is not None


def _levels(chart_input: ChartInput, rows: Sequence[Row], panel: Panel) -> Axis:
    levels = [r["level_db"] for r in rows]
    ends = [r[n] for r in rows for n in ("low_db", "high_db") if r.get(n) is not None]
    unit = chart_input.labels.unit_of("level_db", "dB")
    return axis([*levels, *ends, min(levels) - 6], panel.bottom, panel.top, unit)


def _with_step(rows: Sequence[Row]) -> list[Row]:
    """Rows at each output's least and greatest power, `step` 0 and 1; 1 where there is one.

    Outputs are never driven to quite the same power, so the powers are distinguished within each.
    """
    kept: list[Row] = []
    for output in {r["output"] for r in rows}:
        some = [r for r in rows if r["output"] == output and r["power_w"] is not None]
        powers = sorted({float(r["power_w"]) for r in some})
        if powers and powers[-1] < powers[0] * SAME_POWER:
            kept += [r | {"step": 1} for r in some if float(r["power_w"]) == powers[-1]]
        else:
            ends = {power: k for k, power in ((0, powers[0]), (1, powers[-1]))} if powers else {}
            kept += [r | {"step": ends[p]} for r in some if (p := float(r["power_w"])) in ends]
    return kept


def _panel(
    rows: Sequence[Row],
    output: str,
    steps: Sequence[int],
    panel: Panel,
    y_axis: Axis,
    area: PlotArea,
    *,
    first: bool,
) -> list[alt.Chart]:
    orders = range(2, max([10, *(int(r["order_n"]) for r in rows)]) + 1)
    left, foot = panel.left, panel.bottom
    step = (panel.right - left) / len(orders)
    drawn = scale_lines(y_axis, left, panel.right, area.width, area.height, numbers=first)
    floor = {"px": left, "px2": panel.right, "py": foot, "py2": foot}
    drawn += straight_lines([floor], area.width, area.height, theme.INK, 0.8)
    drawn.append(text_mark(output, left, panel.top - 12, theme.TEXT_PX + 1, bold=True))
    for k, order in enumerate(orders):
        x = left + step * (k + 0.5)
        drawn.append(text_mark(str(order), x, foot + 19, align="center"))
    placed = [_placed(r, steps, left, step, y_axis, foot) for r in rows]
    return drawn + _lollipops(placed, area)


def _placed(
    row: Row, steps: Sequence[int], left: float, step: float, y_axis: Axis, height: float
) -> Row:
    which = row["step"]
    aside = 0.0 if len(steps) == 1 else step * (0.2 if which else -0.2)
    shape, colour = LOOKS[which]
    at = quantity(float(row["power_w"]), "W")
    low, high = row.get("low_db"), row.get("high_db")
    return row | {
        "px": left + step * (row["order_n"] - 1.5) + aside,
        "py": y_axis.px(y_axis.clamped(row["level_db"])),
        "py2": height,
        "shape": shape,
        "colour": colour,
        "lowpx": None if low is None else y_axis.px(y_axis.clamped(low)),
        "highpx": None if high is None else y_axis.px(y_axis.clamped(high)),
        "value_text": f"{ordinal(int(row['order_n']))} harmonic at {at}: "
        f"{value_text(row, 'level_db', 'low_db', 'high_db', 'dB')}",
    }


def _lollipops(rows: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    x, y, _, y2 = pixel_encodings(area.width, area.height)
    hue = alt.Color("colour:N", scale=None)
    drawn = []
    known = [r for r in rows if not r["bound"]]
    if known:
        stem = layer(known).mark_rule(strokeWidth=0.9)
        drawn.append(stem.encode(x=x, y=y, y2=y2, color=hue, tooltip=no_tooltip()))
    sure = [
        r | {"py": r["lowpx"], "py2": r["highpx"]}
        for r in known
        if r["lowpx"] is not None and r["highpx"] is not None
    ]
    if sure:
        post = layer(sure).mark_rule(strokeWidth=2.4)
        drawn.append(post.encode(x=x, y=y, y2=y2, color=hue, tooltip=no_tooltip()))
    for bound in (False, True):
        some = [r for r in rows if bool(r["bound"]) == bound]
        if some:
            drawn.append(_heads(some, x, y, bound=bound))
    lows = [r for r in rows if r["bound"] == "upper"]
    if lows:
        arrow = layer(lows).mark_text(text="↓", dy=14, fontSize=12)
        drawn.append(arrow.encode(x=x, y=y, color=hue, tooltip=no_tooltip()))
    return drawn


def _heads(rows: Sequence[Row], x: alt.X, y: alt.Y, *, bound: bool) -> alt.Chart:
    tips = [alt.Tooltip("label:N", title="unit"), alt.Tooltip("value_text:N", title="level")]
    shape = alt.Shape("shape:N", scale=None)
    at = {"x": x, "y": y, "shape": shape, "tooltip": tips}
    if bound:
        mark = layer(rows).mark_point(
            filled=True, fill=theme.PAPER, opacity=1, size=80, strokeWidth=1.8
        )
        drawn: alt.Chart = mark.encode(stroke=alt.Stroke("colour:N", scale=None), **at)
        return drawn
    mark = layer(rows).mark_point(filled=True, size=90, opacity=1)
    full: alt.Chart = mark.encode(color=alt.Color("colour:N", scale=None), **at)
    return full


def _key(
    rows: Sequence[Row], steps: Sequence[int], right: float, y_axis: Axis, area: PlotArea
) -> list[alt.Chart]:
    """Each power named beside the last harmonic that it has."""
    names: list[Row] = []
    for step in steps:
        some = [r for r in rows if r["step"] == step]
        last = max(some, key=lambda r: (r["order_n"], r["output"] or ""))
        at = y_axis.px(y_axis.clamped(last["level_db"]))
        names.append({"to_y": at, "text": _power(some), "_step": step})
    placed = spread([n["to_y"] for n in names], 22.0, 8.0, area.height - 8)
    x, y, _, _ = pixel_encodings(area.width, area.height)
    marks = []
    for name, py in zip(names, placed, strict=True):
        shape, colour = LOOKS[name["_step"]]
        name |= {"to_x": right + 30, "to_y": py}
        point = layer([{"px": right + 17, "py": py}])
        mark = point.mark_point(filled=True, size=90, opacity=1, shape=shape, color=colour)
        marks.append(mark.encode(x=x, y=y, tooltip=no_tooltip()))
    return [*name_labels(names, pixel_x_axis(area.width), pixel_y_axis(area.height)), *marks]


def _power(rows: Sequence[Row]) -> str:
    """The mean power of rows of one step, whose outputs are never driven to quite the same."""
    return quantity(sum(float(r["power_w"]) for r in rows) / len(rows), "W", 2)


def _powers(rows: Sequence[Row], steps: Sequence[int]) -> list[Named]:
    looks = {step: dict(zip(("shape", "color"), LOOKS[step], strict=True)) for step in steps}
    return [Named(_power([r for r in rows if r["step"] == step]), "point", looks[step])
            for step in steps]  # fmt: skip


def _titles(chart_input: ChartInput, rows: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    title = chart_input.labels.title_of("level_db")
    unit = chart_input.labels.unit_of("level_db", "dB")
    bounds = "; open marks are bounds" if any(r["bound"] for r in rows) else ""
    drawn = [
        text_mark(f"{title} ({unit})", area.paper_left, -36, colour=theme.SOFT_INK),
        text_mark(f"Harmonic{bounds}", 0, area.height + 44, colour=theme.SOFT_INK),
    ]
    if area.narrow:  # the heading names the unit
        return drawn
    name = text_mark(rows[0]["label"], area.width + 100, -36, 15, bold=True, align="right")
    return [*drawn, name]
