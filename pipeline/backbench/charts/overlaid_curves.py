"""Curves of several series over each other, with their difference beneath where there are two."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import altair as alt
import numpy as np

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, frequency_axis
from backbench.charts.chart_text import shortened, wrapped
from backbench.charts.constant_encodings import coloured, dashed, no_tooltip
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import GROUP, SAYER, SAYS, Row
from backbench.charts.names_beneath import beneath
from backbench.charts.overlaid_names import (
    UNNAMED,
    curve_looks,
    difference_look,
    named_piece,
    names_beside,
    names_of_curves,
)
from backbench.charts.page_layout import (
    NARROW_PLOT_PX,
    PlotArea,
    assemble,
    curve_area,
    layer,
    message_chart,
    text_mark,
)
from backbench.charts.small_multiples import pixel_encodings, scale_lines, straight_lines
from backbench.quantities.sentences import listed, lowered
from backbench.quantities.units import symbol
from backbench.quantities.writing import COVERAGE, axis_labels, measured, quantity

COLUMNS = ("unit_key", "label", "series", "output", "x", "y")
SCALE = Option("scale", ("linear", "log"), "of the values; differences are in dB where log")
ACROSS = Option("across", ("frequency", "power", "time"), "what the curves run over")
MOST_SERIES = 4
NAMES_PX = 222.0
GAP_PX, NARROW_GAP_PX = 56.0, 70.0
NARROW_PAIR_PX = 296.0
UPPER_SHARE, NARROW_UPPER_SHARE = 0.68, 0.55
LONGEST_UNIT = 3
"""Signs of a unit that stands at each number of an axis; a longer one stands in its title alone."""
LEAST_REACH_DB = 0.1
"""Differences in dB are drawn on a scale of at least this much to either side."""
Curve = tuple[np.ndarray, np.ndarray, np.ndarray]
"""Abscissae, values and their standard uncertainties, NaN where one isn't known."""


@dataclass(frozen=True)
class Overlay:
    """The curves by series and output, and whether values are compared as ratios."""

    curves: dict[str, dict[str, Curve]]
    log: bool

    @property
    def outputs(self) -> dict[str, list[str]]:
        """The outputs of each series."""
        return {series: list(own) for series, own in self.curves.items()}

    @property
    def pair(self) -> tuple[str, str] | None:
        """The two series whose difference is drawn."""
        names = list(self.curves)
        return (names[0], names[1]) if len(names) == 2 else None

    def differences(self) -> dict[str, Curve]:
        """Second less first by output, where both reach: x, difference, standard uncertainty."""
        if self.pair is None:
            return {}
        first, second = (self.curves[name] for name in self.pair)
        parts = {
            output: _difference(first[output], second[output], self.log)
            for output in first
            if output in second
        }
        return {output: part for output, part in parts.items() if len(part[0])}


def _difference(first: Curve, second: Curve, log: bool) -> Curve:
    """Second less first at the abscissae of the first; a ratio in dB where values are so drawn."""
    x = first[0]
    both = (x >= second[0][0] * (1 - 1e-9)) & (x <= second[0][-1] * (1 + 1e-9))
    x = x[both]
    at = np.log(x)
    other = np.interp(at, np.log(second[0]), np.log(second[1]) if log else second[1])
    other_u = np.interp(at, np.log(second[0]), second[2])
    if not log:
        return x, other - first[1][both], np.hypot(first[2][both], other_u)
    decibel = 20 / math.log(10)
    relative = np.hypot(first[2][both] / first[1][both], other_u / np.exp(other))
    return x, decibel * (other - np.log(first[1][both])), decibel * relative


def overlay(chart_input: ChartInput) -> Overlay:
    """The frame's curves; series in the order of the rows, a point without a number left out."""
    log = chart_input.options["scale"] == "log"
    lines: dict[str, dict[str, list[Row]]] = {}
    for row in chart_input.frame.to_dicts():
        drawn = row["x"] is not None and row["x"] > 0 and row["y"] is not None
        if drawn and (row["y"] > 0 or not log):
            of_series = lines.setdefault(row["series"], {})
            of_series.setdefault(row["output"] or UNNAMED, []).append(row)
    kept = list(lines.items())[:MOST_SERIES]
    return Overlay({name: {o: _curve(rows) for o, rows in outputs.items()}
                    for name, outputs in kept}, log)  # fmt: skip


def _curve(rows: Sequence[Row]) -> Curve:
    ordered = sorted(rows, key=lambda row: row["x"])
    columns = ([row["x"] for row in ordered], [row["y"] for row in ordered],
               [math.nan if row.get("y_u") is None else row["y_u"] for row in ordered])  # fmt: skip
    x, y, u = (np.array(column, dtype=float) for column in columns)
    return x, y, u


def _finding(chart_input: ChartInput) -> str:
    """Where the difference is largest beside its uncertainty; or that it nowhere exceeds it."""
    drawn = overlay(chart_input)
    if not drawn.curves:
        return ""
    rows = chart_input.frame.to_dicts()
    title = lowered(chart_input.labels.title_of("y"))
    names = list(dict.fromkeys(row["label"] for row in rows))
    whose = names[0] if len(names) == 1 else listed(names[:MOST_SERIES])
    differences = drawn.differences()
    if not differences:
        return f"{whose}: {title} {_ends(drawn, chart_input)}"
    most = max(((output, k, part) for output, part in differences.items()
                for k in range(len(part[0]))), key=lambda p: _beyond(p[2], p[1]))  # fmt: skip
    output, k, (x, change, _) = most
    within = any(row["output"] for row in rows)
    verb = "changes" if len(names) == 1 and within else "differs"
    if _beyond(most[2], k) <= 1:
        return f"{whose}: {title} {verb} by no more than the uncertainty"
    unit = "dB" if drawn.log else chart_input.labels.unit_of("y")
    at = quantity(float(x[k]), chart_input.labels.unit_of("x"))
    sign = "+" if change[k] > 0 else ""
    text = f"{whose}: {title} {verb} most at {at}, {sign}{quantity(float(change[k]), unit)}"
    if not within and drawn.pair:
        return f"{text} ({drawn.pair[1]} minus {drawn.pair[0]})"
    return f"{text} ({output})"


def _ends(drawn: Overlay, chart_input: ChartInput) -> str:
    """The least and the greatest value of all curves, and where: what one series alone shows."""
    labels = chart_input.labels
    points = [(float(y), float(x)) for own in drawn.curves.values() for curve in own.values()
              for x, y in zip(curve[0], curve[1], strict=True)]  # fmt: skip
    least, most = (
        f"{quantity(y, labels.unit_of('y'))} at {quantity(x, labels.unit_of('x'))}"
        for y, x in (min(points), max(points))
    )
    return least if least == most else f"from {least} to {most}"


def _beyond(part: Curve, k: int) -> float:
    """A difference in units of its expanded uncertainty, the size alone where that isn't known."""
    size, reach = abs(float(part[1][k])), COVERAGE * float(part[2][k])
    return size / reach if reach > 0 else 1 + size


@chart("overlaid", COLUMNS, ("y_u",), (SCALE, ACROSS), finding=_finding)
def overlaid(chart_input: ChartInput) -> alt.LayerChart:
    """Curves of two to four series over each other; of two, the difference beneath.

    `series` says whose a curve is (a review, a unit), in the order of the rows. y_u is the
    standard uncertainty of y. The difference is the second series less the first, in dB where
    the scale is logarithmic.
    """
    drawn = overlay(chart_input)
    if not drawn.curves:
        return message_chart(chart_input, "There are no curves to lay over each other yet.")
    pair = bool(drawn.differences())
    area = curve_area(chart_input, NAMES_PX, NARROW_PAIR_PX if pair else NARROW_PLOT_PX)
    share = NARROW_UPPER_SHARE if area.narrow else UPPER_SHARE
    upper = area.height * share if pair else area.height
    x_axis = _x_axis(chart_input, drawn, area.width)
    levels = [float(v) for part in drawn.curves.values() for _, y, _ in part.values() for v in y]
    y_axis = axis(levels, upper, 0.0, chart_input.labels.unit_of("y"), log=drawn.log)
    layers = [
        *ground(x_axis, y_axis, area, 0.0, upper),
        text_mark(with_unit(chart_input, "y"), area.paper_left, -16, colour=theme.SOFT_INK),
        *_curves(drawn, x_axis, y_axis, area),
        *([] if area.narrow else _names(drawn, y_axis, area, upper)),
    ]
    if pair:
        gap = NARROW_GAP_PX if area.narrow else GAP_PX
        layers += _beneath(chart_input, drawn, x_axis, area, upper + gap)
    layers += numbers(x_axis, area)
    layers.append(text_mark(chart_input.labels.title_of("x"), area.width / 2, area.height + 44,
                            colour=theme.SOFT_INK, align="center"))  # fmt: skip
    if area.narrow:
        area, names = beneath(area, list(names_of_curves(drawn.outputs, list(drawn.differences()))))
        layers += names
    return assemble(chart_input, area, layers)


def with_unit(chart_input: ChartInput, column: str) -> str:
    unit = chart_input.labels.unit_of(column)
    return chart_input.labels.title_of(column) + (f" ({unit})" if unit else "")


def _x_axis(chart_input: ChartInput, drawn: Overlay, width: float) -> Axis:
    values = [float(v) for part in drawn.curves.values() for x, _, _ in part.values() for v in x]
    if chart_input.options["across"] == "frequency":
        return frequency_axis(values, 0.0, width)
    in_ratios = chart_input.options["across"] == "power"
    return axis(values, 0.0, width, chart_input.labels.unit_of("x"), log=in_ratios)


def ground(
    x_axis: Axis, y_axis: Axis, area: PlotArea, top: float, bottom: float
) -> list[alt.Chart]:
    upright = [{"px": x_axis.px(t), "px2": x_axis.px(t), "py": top, "py2": bottom}
               for t in x_axis.ticks]  # fmt: skip
    long = len(symbol(y_axis.unit)) > LONGEST_UNIT
    numbered = replace(y_axis, unit="") if long else y_axis
    return [
        *straight_lines(upright, area.width, area.height),
        *scale_lines(numbered, 0.0, area.width, area.width, area.height),
    ]


def numbers(x_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    labels = axis_labels(x_axis.ticks, x_axis.unit, log=x_axis.log)
    return [text_mark(label, x_axis.px(t), area.height + 20, align="center")
            for t, label in zip(x_axis.ticks, labels, strict=True)]  # fmt: skip


def _curves(drawn: Overlay, x_axis: Axis, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    layers: list[alt.Chart] = []
    for (series, output), look in curve_looks(drawn.outputs).items():
        names = {SAYER: f"{series}, {output}", GROUP: series}
        curve = drawn.curves[series][output]
        if len(curve[0]) == 1:
            layers.append(_single(curve, x_axis, y_axis, area, colour=look.colour, names=names))
            continue
        layers.append(
            curve_line(curve, x_axis, y_axis, area, colour=look.colour, dash=look.dash,
                       names=names)
        )  # fmt: skip
    return layers


def curve_line(
    curve: Curve, x_axis: Axis, y_axis: Axis, area: PlotArea, colour: str, dash: Sequence[int],
    names: Mapping[str, str],
) -> alt.Chart:  # fmt: skip
    x, y, _, _ = pixel_encodings(area.width, area.height)
    rows = [
        {"px": x_axis.px(float(a)), "py": y_axis.px(y_axis.clamped(float(b))), **names,
         SAYS: _said(float(a), float(b), float(u), x_axis, y_axis)}
        for a, b, u in zip(*curve, strict=True)
    ]  # fmt: skip
    mark = layer(rows).mark_line(strokeWidth=2.2, clip=True)
    drawn: alt.Chart = mark.encode(x=x, y=y, color=coloured(colour), strokeDash=dashed(dash),
                                   tooltip=no_tooltip())  # fmt: skip
    return drawn


def _single(
    curve: Curve, x_axis: Axis, y_axis: Axis, area: PlotArea, colour: str, names: Mapping[str, str]
) -> alt.Chart:
    """A curve of one place, which no line shows, as a dot."""
    x, y, _, _ = pixel_encodings(area.width, area.height)
    a, b, u = (float(part[0]) for part in curve)
    row = {"px": x_axis.px(a), "py": y_axis.px(y_axis.clamped(b)), "label": names[SAYER],
           SAYS: _said(a, b, u, x_axis, y_axis), GROUP: names[GROUP]}  # fmt: skip
    mark = layer([row]).mark_point(filled=True, opacity=1, size=60)
    drawn: alt.Chart = mark.encode(x=x, y=y, color=coloured(colour), tooltip=[f"{SAYS}:N"])
    return drawn


def _said(x: float, y: float, u: float, x_axis: Axis, y_axis: Axis) -> str:
    value = measured(y, u if math.isfinite(u) else None, y_axis.unit)
    return f"{value} at {quantity(x, x_axis.unit)}"


def _names(drawn: Overlay, y_axis: Axis, area: PlotArea, upper: float) -> list[alt.Chart]:
    ends = {
        series: {o: y_axis.px(y_axis.clamped(float(y[-1]))) for o, (_, y, _) in own.items()}
        for series, own in drawn.curves.items()
    }
    return names_beside(ends, area, upper)


def _beneath(
    chart_input: ChartInput, drawn: Overlay, x_axis: Axis, area: PlotArea, top: float
) -> list[alt.Chart]:
    """The difference of each output with its uncertainty (k = 2), and a line at none."""
    parts = drawn.differences()
    unit = "dB" if drawn.log else chart_input.labels.unit_of("y")
    sides = [(d, COVERAGE * np.nan_to_num(u)) for _, d, u in parts.values()]
    reach = [float(v) for d, half in sides for v in (*(d - half), *(d + half))]
    least = LEAST_REACH_DB if unit == "dB" else 0.0
    y_axis = axis([*reach, -least, least], area.height, top, unit)
    zero = [{"px": 0.0, "px2": area.width, "py": y_axis.px(0.0), "py2": y_axis.px(0.0)}]
    layers = [
        *ground(x_axis, y_axis, area, top, area.height),
        *straight_lines(zero, area.width, area.height, theme.SOFT_INK, 1.2),
    ]
    title = _difference_title(drawn, unit, area)
    layers += [
        text_mark(text, area.paper_left, top - 12 - 17 * (len(title) - 1 - k),
                  colour=theme.SOFT_INK)
        for k, text in enumerate(title)
    ]  # fmt: skip
    for k, (output, part) in enumerate(parts.items()):
        layers += _band(part, x_axis, y_axis, area)
        names = {SAYER: f"difference, {output}"}
        look = difference_look(k)
        layers.append(
            curve_line(part, x_axis, y_axis, area, colour=look.colour, dash=look.dash, names=names)
        )
    return layers if area.narrow else layers + _output_names(parts, y_axis, area, top)


def _difference_title(drawn: Overlay, unit: str, area: PlotArea) -> list[str]:
    assert drawn.pair is not None
    first, second = drawn.pair
    text = f"Difference ({unit}): {second} minus {first}"
    if area.narrow:
        return wrapped(text, area.paper_right - area.paper_left, theme.TEXT_PX)
    return [shortened(text, area.width + area.left, theme.TEXT_PX)]


def _band(part: Curve, x_axis: Axis, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    x, y, _, y2 = pixel_encodings(area.width, area.height)
    rows = [
        {"px": x_axis.px(float(a)), "py": y_axis.px(y_axis.clamped(float(d - COVERAGE * u))),
         "py2": y_axis.px(y_axis.clamped(float(d + COVERAGE * u)))}
        for a, d, u in zip(*part, strict=True) if math.isfinite(u)
    ]  # fmt: skip
    if not np.any(part[2] > 0):
        return []
    mark = layer(rows).mark_area(color=theme.INK, opacity=1, fillOpacity=0.16, **theme.BAND_EDGE)
    return [mark.encode(x=x, y=y, y2=y2, tooltip=no_tooltip())]


def _output_names(
    parts: dict[str, Curve], y_axis: Axis, area: PlotArea, top: float
) -> list[alt.Chart]:
    """Each difference's output beside its end; one that has no name needs none."""
    if list(parts) == [UNNAMED]:
        return []
    ends = [y_axis.px(y_axis.clamped(float(d[-1]))) for _, d, _ in parts.values()]
    placed = spread(ends, 19.0, top + 6, area.height - 6)
    return [mark for k, (output, y) in enumerate(zip(parts, placed, strict=True))
            for mark in named_piece(output, y, area, difference_look(k))]  # fmt: skip
