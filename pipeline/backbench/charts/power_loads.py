"""Power into each load: a line for each unit, beside that of an ideal source."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import unit_name
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.curve_layers import Lines, technology_key, thin_lines
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import (
    Row,
    bound_arrows,
    dots,
    name_labels,
    subject_marks,
    value_text,
    vertical_error_bars,
)
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    edge,
    layer,
    message_chart,
    narrow,
    plot_area,
    text_mark,
)
from backbench.quantities.counts import counted
from backbench.quantities.writing import number, quantity

COLUMNS = (
    "unit_key", "label", "technology", "load_ohm", "tap", "value", "low", "high", "bound",
)  # fmt: skip
MOST_NAMED = 12
NARROW_NAMES_PX, NAMES_PX = 104.0, 214.0
NAME_STEP_PX = 19.0
NARROW_TALL_PX = 330.0
AT_ENDS = 0.3
IDEAL = "dashed: twice the power into half the load"


@dataclass(frozen=True)
class _Step:
    """A unit's power into the lower of two loads in relation to that into the higher one."""

    label: str
    lower: Row
    higher: Row

    @property
    def ratio(self) -> float:
        return float(self.lower["value"] / self.higher["value"])

    @property
    def ideal(self) -> float:
        return float(self.higher["load_ohm"] / self.lower["load_ohm"])


def _steps(lines: Lines) -> list[_Step]:
    """From each unit's highest load to its lowest, where both have a figure and no bound."""
    result = []
    for line in lines.values():
        known = [row for row in line if not row["bound"]]
        if len(known) > 1:
            result.append(_Step(known[0]["label"], known[0], known[-1]))
    return result


def _finding(chart_input: ChartInput) -> str:
    """How the marked unit's power grows with the lower load; without one, how many units' does."""
    lines = _lines(chart_input)
    if chart_input.subject:
        lines = {key: line for key, line in lines.items() if key[0] == chart_input.subject}
    steps = _steps(lines)
    if chart_input.subject:
        return _own_finding(lines, steps)
    if not steps:
        return ""
    rising = sum(step.ratio > 1 for step in steps)
    best = max(steps, key=lambda step: step.ratio / step.ideal)
    return (
        f"{rising} of {counted(len(steps), 'unit')} with two loads or more give more power into the"
        f" lower load; nearest to ideal {best.label}, {_ratio_text(best)}"
    )


def _own_finding(lines: Lines, steps: Sequence[_Step]) -> str:
    if not lines:
        return ""
    label = next(iter(lines.values()))[0]["label"]
    if not steps:
        return f"{label}: power into one load only"
    best = steps[0]
    power, load = quantity(best.lower["value"], "W"), quantity(best.lower["load_ohm"], "ohm")
    return f"{label}: {power} into {load}, {_ratio_text(best)}"


def _ratio_text(step: _Step) -> str:
    higher = quantity(step.higher["load_ohm"], "ohm")
    return f"{number(step.ratio, 2)} times that into {higher} (ideally {number(step.ideal)} times)"


@chart("loads", COLUMNS, finding=_finding)
def loads(chart_input: ChartInput) -> alt.LayerChart:
    """Power at a limit of distortion into each load, a line for each unit.

    One row a unit and load; a line joins figures of the same output terminals (`tap`).
    """
    lines = _lines(chart_input)
    if not lines:
        return message_chart(chart_input, "No unit has its power at a limit of distortion yet.")
    if all(len(line) < 2 for line in lines.values()):
        return message_chart(chart_input, "No unit has its power into more than one load yet.")
    small = narrow(chart_input)
    area = plot_area(chart_input, left=64 if small else 84, bottom=84, tall=NARROW_TALL_PX,
                     right=NARROW_NAMES_PX if small else NAMES_PX)  # fmt: skip
    rows = [row for line in lines.values() for row in line]
    x_axis = _load_axis(rows, area.width, chart_input.labels.title_of("load_ohm"))
    y_axis = _power_axis(rows, area.height)
    y_axis = y_axis.with_vertical_axis(
        chart_input.labels.title_of("value"), area.left - edge(chart_input)
    )
    return assemble(
        chart_input,
        area,
        [
            *_ideal(x_axis, y_axis),
            *_marks(lines, x_axis, y_axis, chart_input.subject),
            *_names(lines, x_axis, y_axis, area, chart_input),
            text_mark(IDEAL, edge(chart_input) - area.left, area.height + 70, theme.SMALL_PX,
                      colour=theme.SOFT_INK),
        ],
    )  # fmt: skip


def _lines(chart_input: ChartInput) -> Lines:
    """Rows by unit and terminals, from the lowest load to the highest."""
    lines: Lines = {}
    rows = [r for r in chart_input.frame.to_dicts() if r["value"] is not None and r["value"] > 0]
    for row in sorted(rows, key=lambda r: r["load_ohm"]):
        shown = value_text(row, "value", "low", "high", "W")
        load = quantity(row["load_ohm"], "ohm")
        technology = row["technology"] or "not stated"
        lines.setdefault((row["unit_key"], row["tap"] or ""), []).append(
            row
            | {
                "_x": _halvings(row["load_ohm"]),
                "technology": technology,
                "value_text": f"{shown} into {load}",
            }
        )
    return lines


def _load_axis(rows: Sequence[Row], width: float, title: str) -> Axis:
    """Loads in equal steps for equal ratios, the highest at the left."""
    found = sorted({float(row["load_ohm"]) for row in rows}, reverse=True)
    ticks = [_halvings(load) for load in found]
    labels = json.dumps([quantity(load, "ohm") for load in found])
    label_of = f"{labels}[indexof({json.dumps(ticks)}, datum.value)]"
    drawn = alt.Axis(values=ticks, title=title, labelExpr=label_of)
    return Axis(
        low=ticks[0] - AT_ENDS, high=ticks[-1] + AT_ENDS, start=0.0, end=width, log=False,
        ticks=tuple(ticks), drawn=drawn,
    )  # fmt: skip


def _halvings(load: float) -> float:
    """How often 1 ohm is halved to give the load: it grows to the right."""
    return -math.log2(load)


def _power_axis(rows: Sequence[Row], height: float) -> Axis:
    ends = [row[name] for row in rows for name in ("value", "low", "high")]
    return axis([e for e in ends if e is not None], height, 0.0, "W", log=True)


def _ideal(x_axis: Axis, y_axis: Axis) -> list[alt.Chart]:
    """Lines of one voltage over the field: each half of the load doubles the power."""
    run = x_axis.high - x_axis.low
    rows = []
    for k in range(math.floor(math.log2(y_axis.low) - run), math.ceil(math.log2(y_axis.high)) + 1):
        start, end = max(2.0**k, y_axis.low), min(2.0 ** (k + run), y_axis.high)
        if start < end:
            at = [x_axis.low + math.log2(power) - k for power in (start, end)]
            rows.append({"_x": at[0], "_x2": at[1], "_y": start, "_y2": end})
    mark = layer(rows).mark_rule(color=theme.GREY, strokeWidth=0.8, strokeDash=[4, 4])
    return [mark.encode(x=x_axis.x("_x"), x2=alt.X2("_x2:Q"), y=y_axis.y("_y"),
                        y2=alt.Y2("_y2:Q"), tooltip=no_tooltip())]  # fmt: skip


def _marks(lines: Lines, x_axis: Axis, y_axis: Axis, subject: str) -> list[alt.Chart]:
    peers = {key: line for key, line in lines.items() if key[0] != subject}
    own = {key: line for key, line in lines.items() if key[0] == subject}
    x, y = x_axis.x("_x"), y_axis.y("value")
    peer_rows = [row for line in peers.values() for row in line]
    own_rows = [row | {"_strong": True} for line in own.values() for row in line]
    drawn = [
        *thin_lines(peers, x_axis, y_axis, "_x", "value", says=False),
        *vertical_error_bars(peer_rows, y_axis, x, "low", "high", weight=0.7),
        *dots(peer_rows, x, y),
        *bound_arrows(peer_rows, x, y, upright=True),
    ]
    for line in own.values():
        mark = layer(line).mark_line(color=theme.INK, strokeWidth=2.6)
        drawn.append(mark.encode(x=x, y=y, tooltip=no_tooltip()))
    return [
        *drawn,
        *vertical_error_bars(own_rows, y_axis, x, "low", "high", weight=2.2),
        *subject_marks(own_rows, x, y),
        *bound_arrows(own_rows, x, y, upright=True),
    ]


def _names(
    lines: Lines, x_axis: Axis, y_axis: Axis, area: PlotArea, chart_input: ChartInput
) -> list[alt.Chart]:
    """Units by name beside their lowest load; where there are many, the marked one and a key."""
    subject = chart_input.subject
    ends = {key: line[0] for key, line in lines.items()}
    if len(ends) > MOST_NAMED:
        ends = {key: end for key, end in ends.items() if key[0] == subject}
    wanted = [y_axis.px(end["value"]) for end in ends.values()]
    placed = spread(wanted, NAME_STEP_PX, 6.0, area.height - 6)
    left, room = area.width + 18, area.right - 18 - edge(chart_input)
    rows: list[Row] = []
    for (key, end), at, py in zip(ends.items(), wanted, placed, strict=True):
        bold = key[0] == subject
        text = unit_name(_label(end, key[1]), room, theme.TEXT_PX + bold, bold=bold)
        start = {"from_x": x_axis.px(end["_x"]) + 6, "from_y": at}
        rows.append(start | {"to_x": left, "to_y": py, "text": text, "bold": bold})
    key_of = {} if narrow(chart_input) or len(lines) <= MOST_NAMED else _peers(lines, subject)
    return [*name_labels(rows, x_axis, y_axis), *technology_key(key_of, area, area.height - 8)]


def _peers(lines: Lines, subject: str) -> Lines:
    return {key: line for key, line in lines.items() if key[0] != subject}


def _label(end: Row, tap: str) -> str:
    return f"{end['label']}, {tap}" if tap else str(end["label"])
