"""Hum of one unit: a rung for each multiple of the mains frequency, over its peers."""

from __future__ import annotations

import math
from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import shortened, text_width
from backbench.charts.constant_encodings import no_tooltip, x_at, y_at
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import Row, value_label
from backbench.charts.names_beneath import Named, beneath
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
from backbench.quantities.counts import counted
from backbench.quantities.writing import axis_labels, number

COLUMNS = (
    "unit_key", "label", "output", "order_n", "frequency_hz", "value", "bound", "peers_median",
    "peers_low", "peers_high", "peers",
)  # fmt: skip
MOST_RUNGS = 10
SHAPES = ("triangle-left", "triangle-right", "circle", "square")
"""Of the outputs in order of name: left points to the left, right to the right."""
UNIT = "µV"
NARROW_RUNG_PX, NARROW_SHARE = 46.0, 0.7
"""Height of a rung with its words above it, and where its line lies in it."""


def _finding(chart_input: ChartInput) -> str:
    """The strongest line of the unit, and how far it is from the median of its peers."""
    own = chart_input.rows_of_unit(_drawable)
    if not own:
        return ""
    most = max(own, key=lambda row: row["value"])
    at = f"{number(most['frequency_hz'])} Hz"
    text = f"{most['label']}: strongest hum {_shown(most, chart_input)} at {at}, {most['output']}"
    apart = _apart(most)
    return f"{text}; {apart} of {counted(most['peers'], 'peer')}" if apart else text


@chart("ladder", COLUMNS, finding=_finding)
def ladder(chart_input: ChartInput) -> alt.LayerChart:
    """Level of each multiple of the mains frequency, every output, over its peers.

    One row an output and multiple. `peers_low` and `peers_high` are the quartiles of the peers.
    """
    own = chart_input.rows_of_unit(_drawable)
    if not own:
        return message_chart(chart_input, "No unit has a line of hum at idle yet.")
    orders = sorted({row["order_n"] for row in own})[:MOST_RUNGS]
    own = [row for row in own if row["order_n"] in orders]
    area = _area(chart_input, len(orders))
    ends = [row[name] for row in own for name in ("value", "peers_low", "peers_high")]
    x_axis = axis(ends, 0.0, area.width, UNIT, log=True)
    step = area.height / len(orders)
    share = NARROW_SHARE if area.narrow else 0.5
    middles = {order: step * (k + share) for k, order in enumerate(orders)}
    layers = [
        *_ground(x_axis, area, chart_input),
        *_peers(own, x_axis, area, middles, step),
        *_marks(own, x_axis, area, middles),
        *_words(own, chart_input, area, middles),
    ]
    if area.narrow:
        area, key = beneath(area, [*_shapes(own), *(Named(note) for note in _notes(own))])
    else:
        key = _key(own, area)
    return assemble(chart_input, area, [*layers, *key])


def _area(chart_input: ChartInput, rungs: int) -> PlotArea:
    """With words at both sides of the rungs, or above each on a phone."""
    if narrow(chart_input):
        tall = NARROW_RUNG_PX * rungs
        return plot_area(chart_input, left=NARROW_END_PX, right=NARROW_END_PX, above=8, tall=tall)
    return plot_area(chart_input, left=150, right=300, bottom=84, above=22)


def _drawable(row: Row) -> bool:
    return row["value"] is not None and row["value"] > 0


def _shown(row: Row, chart_input: ChartInput) -> str:
    return value_label(row, chart_input.labels.unit_of("value", UNIT)).strip()


def _apart(row: Row) -> str:
    """How far a line is from the peers' median, in words; "" where that can't be said."""
    median = row["peers_median"]
    if not median or row["bound"]:
        return ""
    decibels = 20 * math.log10(row["value"] / median)
    if abs(decibels) < 0.5:
        return "at the median"
    return f"{number(abs(decibels), 2)} dB {'above' if decibels > 0 else 'below'} the median"


def _ground(x_axis: Axis, area: PlotArea, chart_input: ChartInput) -> list[alt.Chart]:
    lines = [
        {"px": x_axis.px(t), "px2": x_axis.px(t), "py": 0.0, "py2": area.height}
        for t in x_axis.ticks
    ]
    labels = axis_labels(x_axis.ticks, UNIT, log=True)
    title = f"{chart_input.labels.title_of('value')} ({UNIT})"
    return [
        *straight_lines(lines, area.width, area.height),
        *(
            text_mark(label, x_axis.px(t), area.height + 20, align="center")
            for t, label in zip(x_axis.ticks, labels, strict=True)
        ),
        text_mark(title, area.width / 2, area.height + 42, colour=theme.SOFT_INK, align="center"),
    ]


def _peers(
    own: Sequence[Row], x_axis: Axis, area: PlotArea, middles: dict[int, float], step: float
) -> list[alt.Chart]:
    """The middle half of the peers as a band on each rung, their median as a line."""
    x, y, x2, y2 = pixel_encodings(area.width, area.height)
    half = min(step * 0.2 if area.narrow else step * 0.3, 12.0)
    known = {row["order_n"]: row for row in own if row["peers_median"]}
    bands, medians = [], []
    for order, row in known.items():
        at = {"py": middles[order] - half, "py2": middles[order] + half}
        median = x_axis.px(x_axis.clamped(row["peers_median"]))
        medians.append(at | {"px": median, "px2": median})
        if row["peers_low"] and row["peers_high"]:
            ends = [x_axis.px(row[name]) for name in ("peers_low", "peers_high")]
            bands.append(at | {"px": ends[0], "px2": ends[1]})
    drawn = []
    if bands:
        mark = layer(bands).mark_rect(color=theme.BAND)
        drawn.append(mark.encode(x=x, y=y, x2=x2, y2=y2, tooltip=no_tooltip()))
    return drawn + straight_lines(medians, area.width, area.height, theme.SOFT_INK, 1.6)


def _marks(
    own: Sequence[Row], x_axis: Axis, area: PlotArea, middles: dict[int, float]
) -> list[alt.Chart]:
    """Every output's level; a bound is an open mark with an arrow to where the true value lies."""
    x, y, _, _ = pixel_encodings(area.width, area.height)
    tips = [alt.Tooltip("about:N", title="line"), alt.Tooltip("shown:N", title="level")]
    drawn: list[alt.Chart] = []
    for output, shape in zip(_outputs(own), SHAPES * len(own), strict=False):
        for bound in (False, True):
            some = [
                {
                    "px": x_axis.px(row["value"]),
                    "py": middles[row["order_n"]],
                    "about": f"{number(row['frequency_hz'])} Hz, {output}",
                    "shown": value_label(row, UNIT).strip(),
                }
                for row in own
                if row["output"] == output and bool(row["bound"]) == bound
            ]
            if some:
                mark = layer(some).mark_point(
                    filled=True, opacity=1, size=120, shape=shape, stroke=theme.INK,
                    fill=theme.PAPER if bound else theme.INK, strokeWidth=1.6,
                )  # fmt: skip
                drawn.append(mark.encode(x=x, y=y, tooltip=tips))
    return drawn


def _outputs(own: Sequence[Row]) -> list[str]:
    return sorted({str(row["output"]) for row in own})


def _words(
    own: Sequence[Row], chart_input: ChartInput, area: PlotArea, middles: dict[int, float]
) -> list[alt.Chart]:
    """Multiple and frequency at the left; the strongest output's level at the right."""
    drawn = []
    for order, middle in middles.items():
        most = max((row for row in own if row["order_n"] == order), key=lambda row: row["value"])
        name = f"{order} ×, {number(most['frequency_hz'])} Hz"
        text = "\u2002".join(filter(None, (_shown(most, chart_input), _apart(most))))
        if area.narrow:
            left, room = area.paper_left, area.paper_right - area.paper_left
            text = shortened(f"{name}\u2002{text}", room, theme.SMALL_PX)
            drawn.append(text_mark(text, left, middle - 16, theme.SMALL_PX))
            continue
        text = shortened(text, area.right - 40, theme.TEXT_PX)
        drawn += [
            text_mark(name, -14, middle + 5, align="right"),
            text_mark(text, area.width + 14, middle + 5),
        ]
    return drawn


def _key(own: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    """What the marks and the band are."""
    left, y = 26 - area.left, area.height + 68
    drawn: list[alt.Chart] = []
    for output, shape in zip(_outputs(own), SHAPES, strict=False):
        mark = layer([{}]).mark_point(filled=True, size=90, shape=shape, color=theme.INK, opacity=1)
        drawn += [
            mark.encode(x=x_at(left + 6), y=y_at(y - 5), tooltip=no_tooltip()),
            text_mark(output, left + 18, y, theme.SMALL_PX, colour=theme.SOFT_INK),
        ]
        left += 34 + text_width(output, theme.SMALL_PX)
    text = "; ".join(_notes(own))
    return [*drawn, text_mark(text, left + 6, y, theme.SMALL_PX, colour=theme.SOFT_INK)]


def _shapes(own: Sequence[Row]) -> list[Named]:
    return [Named(output, "point", {"shape": shape, "color": theme.INK})
            for output, shape in zip(_outputs(own), SHAPES, strict=False)]  # fmt: skip


def _notes(own: Sequence[Row]) -> list[str]:
    """What the band and open marks are."""
    peers = max(row["peers"] for row in own)
    notes = [f"band: middle half of {counted(peers, 'peer')}, line: their median"] * bool(peers)
    notes += ["open: at most this"] * any(row["bound"] for row in own)
    return notes
