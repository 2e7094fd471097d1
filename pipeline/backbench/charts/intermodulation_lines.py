"""Tones and the products that an amplifier makes of them."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, frequency_axis
from backbench.charts.chart_text import text_width, unit_name
from backbench.charts.constant_encodings import no_tooltip, x_at, y_at
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import Row, name_labels, value_text
from backbench.charts.names_beneath import Named, beneath
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    curve_area,
    layer,
    message_chart,
    text_mark,
)
from backbench.quantities.writing import quantity, value_alone

COLUMNS = ("unit_key", "label", "output", "frequency_hz", "level_db", "kind")
AXIS = Option("frequency", ("log", "linear"), "axis of frequency")
TONE = "tone"
TONE_COLOUR = theme.GREY
MOST_NAMED = 9
SHAPES = ("circle", "diamond", "square", "triangle-up")
"""Heads of the outputs, in their order."""
APART_PX = 7.0


def _finding(chart_input: ChartInput) -> str:
    """The strongest product of the unit that is drawn, of all its outputs."""
    made = [r for r in chart_input.rows_of_unit(_drawable) if r["kind"] != TONE]
    if not made:
        return ""
    most = max(made, key=lambda r: (not r.get("bound"), r["level_db"]))
    level = value_alone(most["level_db"], None, "dB", most.get("bound"))
    at = quantity(most["frequency_hz"], "Hz", 4)
    output = most["output"] or "measured output"
    return f"{most['label']}: strongest product at {at}, {level}, {output}"


@chart(
    "products",
    COLUMNS,
    ("name", "bound", "low_db", "high_db"),
    (AXIS,),
    finding=_finding,
)
def products(chart_input: ChartInput) -> alt.LayerChart:
    """Two tones or many, and their products: each a stem, the strongest products named.

    Rows of kind "tone" are what was played; rows of any other kind are products. Outputs stand
    beside each other at each frequency, told apart by the shapes of their heads.
    """
    rows = chart_input.rows_of_unit(_drawable)
    if not rows:
        return message_chart(chart_input, "This unit has no two-tone or multitone levels yet.")
    outputs = sorted({r["output"] or "" for r in rows})
    area = curve_area(chart_input, right=214)
    x_axis = _frequencies(chart_input, rows, area.width)
    levels = [r["level_db"] for r in rows]
    unit = chart_input.labels.unit_of("level_db", "dB")
    y_axis = axis([*levels, min(levels) - 8, max(levels) + 6], area.height, 0.0, unit)
    y_axis = y_axis.with_vertical_axis(chart_input.labels.title_of("level_db"), -area.paper_left)
    floor = y_axis.low
    rows = [
        r | {"_floor": floor, "value_text": _value_text(r, unit), "_x": _beside(r, outputs, x_axis)}
        for r in rows
    ]
    tones = [r for r in rows if r["kind"] == TONE]
    made = [r for r in rows if r["kind"] != TONE]
    area, caption = _caption(rows[0]["label"], outputs, bool(tones), area)
    stems = [
        stem
        for some, colour in ((tones, TONE_COLOUR), (made, theme.INK))
        for output, shape in zip(outputs, itertools.cycle(SHAPES), strict=False)
        for stem in _stems([r for r in some if (r["output"] or "") == output], x_axis, y_axis,
                           {"color": colour, "shape": shape})
    ]  # fmt: skip
    layers = [
        *stems,
        *name_labels(_names(rows, made, x_axis, y_axis), x_axis, y_axis),
        *caption,
    ]
    return assemble(chart_input, area, layers)


def _drawable(row: Row) -> bool:
    frequency = row["frequency_hz"]
    return frequency is not None and frequency > 0 and row["level_db"] is not None


def _frequencies(chart_input: ChartInput, rows: Sequence[Row], width: float) -> Axis:
    frequencies = [r["frequency_hz"] for r in rows]
    if chart_input.options["frequency"] == "linear":
        made = axis(frequencies, 0.0, width, "Hz")
    else:
        made = frequency_axis([min(frequencies) / 1.3, max(frequencies) * 1.3], 0.0, width)
    return made.with_axis(chart_input.labels.title_of("frequency_hz"))


def _value_text(row: Row, unit: str) -> str:
    name = f"{row['name']}, " if row.get("name") else ""
    at = quantity(row["frequency_hz"], "Hz", 4)
    return f"{name}{at}: {value_text(row, 'level_db', 'low_db', 'high_db', unit)}"


def _beside(row: Row, outputs: Sequence[str], x_axis: Axis) -> float:
    """The frequency, or near it so that the stems of several outputs don't hide each other."""
    step = outputs.index(row["output"] or "") - (len(outputs) - 1) / 2
    return x_axis.at(x_axis.px(row["frequency_hz"]) + APART_PX * step)


def _stems(
    rows: Sequence[Row], x_axis: Axis, y_axis: Axis, look: Mapping[str, Any]
) -> list[alt.Chart]:
    if not rows:
        return []
    colour, shape = look["color"], look["shape"]
    x, y = x_axis.x("_x"), y_axis.y("level_db")
    known = [r for r in rows if not r.get("bound")]
    drawn = []
    if known:
        stem = layer(known).mark_rule(color=colour, strokeWidth=1.6)
        drawn.append(stem.encode(x=x, y=y, y2=alt.Y2("_floor:Q"), tooltip=no_tooltip()))
    sure = [r for r in known if r.get("low_db") is not None and r.get("high_db") is not None]
    if sure:
        clamped = [
            r | {"_low": y_axis.clamped(r["low_db"]), "_high": y_axis.clamped(r["high_db"])}
            for r in sure
        ]
        post = layer(clamped).mark_rule(color=colour, strokeWidth=3)
        drawn.append(
            post.encode(x=x, y=y_axis.y("_low"), y2=alt.Y2("_high:Q"), tooltip=no_tooltip())
        )
    tips = [alt.Tooltip("kind:N"), alt.Tooltip("value_text:N", title="level")]
    for bound in (False, True):
        some = [r for r in rows if bool(r.get("bound")) == bound]
        if some:
            head = layer(some).mark_point(
                filled=True,
                opacity=1,
                size=70,
                shape=shape,
                fill=theme.PAPER if bound else colour,
                stroke=colour,
                strokeWidth=1.6,
            )
            drawn.append(head.encode(x=x, y=y, tooltip=tips))
    return drawn


def _names(rows: Sequence[Row], made: Sequence[Row], x_axis: Axis, y_axis: Axis) -> list[Row]:
    """The strongest products, named above or beside their heads where nothing is hidden."""
    heads = [(x_axis.px(r["_x"]), y_axis.px(r["level_db"])) for r in rows]
    taken: list[tuple[float, float, float]] = []
    names: list[Row] = []
    strongest: dict[float, Row] = {}
    for row in sorted(made, key=lambda r: -r["level_db"]):
        strongest.setdefault(row["frequency_hz"], row)
    for row in [*strongest.values()][:MOST_NAMED]:
        text = row.get("name") or quantity(row["frequency_hz"], "Hz", 4)
        width = text_width(text, theme.SMALL_PX)
        x, y = x_axis.px(row["frequency_hz"]), y_axis.px(row["level_db"])
        for left, middle in ((x - width / 2, y - 16), (x + 10, y), (x - 10 - width, y)):
            stem = any(left - 4 < hx < left + width + 4 and hy < middle + 9 for hx, hy in heads)
            meets = any(
                left < b + 6 and left + width > a - 6 and abs(middle - m) < 17 for a, b, m in taken
            )
            if not stem and not meets and 0 < left <= x_axis.end + 20 - width:
                taken.append((left, left + width, middle))
                names.append({"to_x": left, "to_y": middle, "text": text, "size": theme.SMALL_PX})
                break
    return names


def _caption(
    label: str, outputs: Sequence[str], tones: bool, area: PlotArea
) -> tuple[PlotArea, list[alt.Chart]]:
    """What is drawn, at the right of the plot or beneath it on a phone."""
    marks: list[tuple[str, dict[str, Any]]] = [
        (f"products, {output}" if output else "products", {"color": theme.INK, "shape": shape})
        for output, shape in zip(outputs, itertools.cycle(SHAPES), strict=False)
    ]
    marks += [("tones played", {"color": TONE_COLOUR, "shape": SHAPES[0]})] * tones
    if area.narrow:
        return beneath(area, [Named(label, bold=True), *(Named(t, "point", m) for t, m in marks)])
    name = unit_name(label, area.right - 30, theme.TEXT_PX + 1, bold=True)
    drawn = [text_mark(name, area.width + 16, 14, theme.TEXT_PX + 1, bold=True)]
    for k, (text, look) in enumerate(marks):
        y = 38 + 22 * k
        dot = layer([{"frequency_hz": 0}]).mark_point(filled=True, opacity=1, size=70, **look)
        drawn.append(dot.encode(x=x_at(area.width + 22), y=y_at(y - 5), tooltip=no_tooltip()))
        colour = theme.SOFT_INK if look["color"] == TONE_COLOUR else theme.INK
        drawn.append(text_mark(text, area.width + 34, y, theme.SMALL_PX, colour=colour))
    return area, drawn
