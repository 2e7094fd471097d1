"""A square wave's trace with what was read off it."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import text_width
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.curve_layers import lines_of, named_curves, subject_lines
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import freest
from backbench.charts.mark_layers import Row, name_labels
from backbench.charts.page_layout import PlotArea, assemble, curve_area, layer, message_chart
from backbench.quantities.sentences import lowered

COLUMNS = ("unit_key", "label", "output", "time_s", "volts", "kind")
TRACE = "trace"


def _finding(chart_input: ChartInput) -> str:
    """What was read from the trace of the unit that is drawn."""
    rows = chart_input.rows_of_unit(_drawable)
    notes = list(dict.fromkeys(r["note"] for r in rows if r.get("note")))
    if not rows:
        return ""
    return f"{rows[0]['label']}: {', '.join(notes) or lowered(chart_input.labels.title)}"


@chart("square", COLUMNS, ("note",), finding=_finding)
def square(chart_input: ChartInput) -> alt.LayerChart:
    """A square wave's trace with rise, overshoot and tilt marked on it.

    Rows of kind "trace" are the waveform. Rows of any other kind are points of one mark: two
    make a line, and `note` says what was read there ("rise time 4.2 µs").
    """
    rows = [r | {"_end": r["time_s"]} for r in chart_input.rows_of_unit(_drawable)]
    if not rows:
        return message_chart(chart_input, "This unit has no square wave yet.")
    area = curve_area(chart_input, right=214)
    x_axis = axis((r["time_s"] for r in rows), 0.0, area.width, "s")
    x_axis = x_axis.with_axis(chart_input.labels.title_of("time_s"))
    volts = [r["volts"] for r in rows]
    room = 0.18 * (max(volts) - min(volts))
    y_axis = axis([*volts, max(volts) + room, min(volts) - room], area.height, 0.0, "V")
    y_axis = y_axis.with_vertical_axis(chart_input.labels.title_of("volts"), -area.paper_left)
    key = rows[0]["unit_key"]
    traces = lines_of([r for r in rows if r["kind"] == TRACE], "time_s", key, of_subject=True)
    marks = [r for r in rows if r["kind"] != TRACE]
    area, names = named_curves(traces, {}, x_axis, y_axis, area, y="volts", shaded=True)
    layers = [
        *subject_lines(
            lines=traces,
            x_axis=x_axis,
            y_axis=y_axis,
            x="time_s",
            y="volts",
            weight=2.0,
            shaded=True,
        ),
        *_marks(marks, rows, x_axis, y_axis, area),
        *names,
    ]
    return assemble(chart_input, area, layers)


def _drawable(row: Row) -> bool:
    return row["time_s"] is not None and row["volts"] is not None


def _marks(
    marks: Sequence[Row], rows: Sequence[Row], x_axis: Axis, y_axis: Axis, area: PlotArea
) -> list[alt.Chart]:
    """Each kind's points ringed and joined, with its note where it hides least."""
    if not marks:
        return []
    colour = theme.LOOKS["tube"].colour
    x, y = x_axis.x("time_s"), y_axis.y("volts")
    line = layer(marks).mark_line(color=colour, strokeWidth=1.8, strokeDash=[4, 3])
    ring = layer(marks).mark_point(
        filled=True, opacity=1, fill=theme.PAPER, stroke=colour, strokeWidth=2, size=70
    )
    tips = [alt.Tooltip("kind:N", title="mark")]
    drawn = [
        line.encode(x=x, y=y, detail=alt.Detail("kind:N"), tooltip=no_tooltip()),
        ring.encode(x=x, y=y, tooltip=tips),
    ]
    busy = [(x_axis.px(r["time_s"]), y_axis.px(r["volts"])) for r in rows]
    names: list[Row] = []
    for kind in dict.fromkeys(r["kind"] for r in marks):
        points = [r for r in marks if r["kind"] == kind]
        text = points[0].get("note") or str(kind)
        width = text_width(text, theme.TEXT_PX)
        px = sum(x_axis.px(r["time_s"]) for r in points) / len(points)
        py = sum(y_axis.px(r["volts"]) for r in points) / len(points)
        place = freest(_around(px, py, width, area), width, 18.0, busy)
        busy += [(place[0] + width * k / 8, place[1]) for k in range(9)]
        names.append({"to_x": place[0], "to_y": place[1], "text": text})
    return [*drawn, *name_labels(names, x_axis, y_axis)]


def _around(px: float, py: float, width: float, area: PlotArea) -> list[tuple[float, float]]:
    sides = (px + 14, px - width / 2, px - width - 14)
    heights = (py, py - 22, py + 22, py - 40, py + 40)
    return [
        (min(max(s, 0.0), area.width - width), min(max(h, 8.0), area.height - 8))
        for h in heights
        for s in sides
    ]
