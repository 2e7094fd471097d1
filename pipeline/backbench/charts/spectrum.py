"""A spectrum of the residual with its mains lines named."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from statistics import median

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, frequency_axis
from backbench.charts.chart_text import text_width
from backbench.charts.curve_layers import (
    Lines,
    lines_of,
    named_curves,
    notes_where_room,
    subject_lines,
)
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.line_peaks import Point, line_peaks
from backbench.charts.mark_layers import Row, name_labels
from backbench.charts.page_layout import (
    assemble,
    curve_area,
    layer,
    message_chart,
)
from backbench.quantities.writing import quantity

COLUMNS = ("unit_key", "label", "output", "frequency_hz", "level", "kind")
TRACES = ("spectrum", "idle", "tone")
REACH = 1.26
ABOVE_DB = 12.0
MOST_NAMED = 8
PEAK = "peak"
SAME_LINE = 0.04


def _finding(chart_input: ChartInput) -> str:
    """The strongest single line of the unit that is drawn, of its trace where there is none."""
    rows = chart_input.rows_of_unit(_drawable)
    if not rows:
        return ""
    lines = [r for r in rows if r["kind"] not in TRACES]
    label = str(rows[0]["label"])
    if not lines:
        lines = [r | {"kind": "played" if r["kind"] == "tone" else ""} for r in rows]
    most = max(lines, key=lambda r: r["level"])
    unit = str(most.get("y_unit") or chart_input.labels.unit_of("level"))
    at = f"{quantity(most['frequency_hz'], 'Hz')}, {quantity(most['level'], unit)}"
    kind = f"strongest {most['kind']} line" if most["kind"] else "strongest"
    return f"{label}: {kind} at {at}, {most['output'] or 'measured output'}"


@chart("spectrum", COLUMNS, ("y_unit", "name"), finding=_finding)
def spectrum(chart_input: ChartInput) -> alt.LayerChart:
    """The spectrum of one unit's outputs, its mains lines named.

    Rows of kind "spectrum", "idle" or "tone" are the trace; rows of any other kind are single
    lines, named by `name` or their frequency. Other peaks of the trace are named too. `y_unit`
    is the unit of the level where it isn't the header's.
    """
    rows = [r | {"_end": r["frequency_hz"]} for r in chart_input.rows_of_unit(_drawable)]
    if not rows:
        return message_chart(chart_input, "This unit has no spectrum yet.")
    unit = str(rows[0].get("y_unit") or chart_input.labels.unit_of("level"))
    log = "dB" not in unit and min(r["level"] for r in rows) > 0
    traces = lines_of(
        [r for r in rows if r["kind"] in TRACES],
        "frequency_hz",
        rows[0]["unit_key"],
        of_subject=True,
    )
    lines = [r for r in rows if r["kind"] not in TRACES]
    lines += [r for trace in traces.values() for r in peaks(trace, log) if _another(r, lines)]
    chart_input, notes = notes_where_room(chart_input, _notes(lines))
    area = curve_area(chart_input, right=214)
    x_axis = frequency_axis((r["frequency_hz"] for r in rows), 0.0, area.width)
    x_axis = x_axis.with_axis(chart_input.labels.title_of("frequency_hz"))
    levels = [r["level"] for r in rows]
    room = max(levels) * 1.7 if log else max(levels) + 0.06 * (max(levels) - min(levels))
    y_axis = axis([*levels, room], area.height, 0.0, unit, log)
    y_axis = y_axis.with_vertical_axis(chart_input.labels.title_of("level"), -area.paper_left)
    area, names = named_curves(
        traces, {}, x_axis, y_axis, area, y="level", notes=notes, shaded=True
    )
    layers = [
        *subject_lines(
            lines=traces,
            x_axis=x_axis,
            y_axis=y_axis,
            x="frequency_hz",
            y="level",
            weight=1.2,
            shaded=True,
        ),
        *_named_lines(lines, _tops(traces, x_axis, y_axis), x_axis, y_axis, unit),
        *names,
    ]
    return assemble(chart_input, area, layers)


def _another(peak: Row, lines: Sequence[Row]) -> bool:
    """Whether a peak is none of the lines that are named already."""
    hertz = peak["frequency_hz"]
    return all(abs(math.log(hertz / r["frequency_hz"])) > SAME_LINE for r in lines)


def _drawable(row: Row) -> bool:
    frequency = row["frequency_hz"]
    return frequency is not None and frequency > 0 and row["level"] is not None


def peaks(trace: Sequence[Row], log: bool) -> list[Row]:
    """The strongest points of a trace that stand ABOVE_DB over the median of a third octave
    to either side."""
    hertz = [r["frequency_hz"] for r in trace]
    level = [20 * math.log10(r["level"]) if log else r["level"] for r in trace]
    kept: list[int] = []
    for k in sorted(range(len(trace)), key=lambda k: -level[k])[: 40 * MOST_NAMED]:
        low = bisect_left(hertz, hertz[k] / REACH)
        high = bisect_right(hertz, hertz[k] * REACH)
        apart = all(abs(math.log(hertz[k] / hertz[f])) > math.log(1.06) for f in kept)
        top = level[k] == max(level[max(k - 3, 0) : k + 4])
        if (
            apart
            and top
            and level[k] > median(level[low:high]) + ABOVE_DB
            and len(kept) < MOST_NAMED
        ):
            kept.append(k)
    return [trace[k] | {"kind": PEAK} for k in kept]


def _tops(traces: Lines, x_axis: Axis, y_axis: Axis) -> list[Point]:
    """The peaks of the drawn traces, in pixels."""
    return [
        at
        for trace in traces.values()
        for at in line_peaks([(x_axis.px(r["frequency_hz"]), y_axis.px(r["level"])) for r in trace])
    ]


def _named_lines(
    rows: Sequence[Row], tops: Sequence[Point], x_axis: Axis, y_axis: Axis, unit: str
) -> list[alt.Chart]:
    """An open ring at each line, the strongest with their frequency above, none overlapping."""
    if not rows:
        return []
    labelled = [
        r
        | {
            "value_text": f"{r['kind']}, {quantity(r['frequency_hz'], 'Hz')}: "
            f"{quantity(r['level'], unit)}"
        }
        for r in rows
    ]
    tips = [alt.Tooltip("output:N"), alt.Tooltip("value_text:N", title="line")]
    drawn = []
    for peak in (False, True):
        some = [r for r in labelled if (r["kind"] == PEAK) == peak]
        if some:
            ring = layer(some).mark_point(
                filled=True,
                fill=theme.PAPER,
                stroke=theme.INK if peak else theme.LOOKS["tube"].colour,
                strokeWidth=1.8,
                opacity=1,
                size=52,
                shape="diamond" if peak else "circle",
            )
            drawn.append(ring.encode(x=x_axis.x("frequency_hz"), y=y_axis.y("level"), tooltip=tips))
    return [*drawn, *name_labels(_line_names(rows, tops, x_axis, y_axis), x_axis, y_axis)]


def _notes(rows: Sequence[Row]) -> list[str]:
    """What the rings are."""
    kinds = sorted({str(r["kind"]) for r in rows} - {PEAK})
    notes = [f"circles: {' and '.join(kinds)} lines"] if kinds else []
    notes += ["diamonds: other peaks" if kinds else "diamonds: peaks"] * any(
        r["kind"] == PEAK for r in rows
    )
    return notes


def _line_names(
    rows: Sequence[Row], tops: Sequence[Point], x_axis: Axis, y_axis: Axis
) -> list[Row]:
    """Frequencies of the strongest lines, where they hide no ring, no peak and not each other."""
    rings = [(x_axis.px(r["frequency_hz"]), y_axis.px(r["level"])) for r in rows]
    shown = [*rings, *tops]
    taken: list[tuple[float, float, float]] = []
    names: list[Row] = []
    best: dict[float, Row] = {}
    for row in sorted(rows, key=lambda r: r["level"]):
        best[row["frequency_hz"]] = row
    for row in sorted(best.values(), key=lambda r: -r["level"])[:MOST_NAMED]:
        text = row.get("name") or quantity(row["frequency_hz"], "Hz", 3)
        width = text_width(text, theme.SMALL_PX)
        x, y = x_axis.px(row["frequency_hz"]), y_axis.px(row["level"])
        places = [(x - width / 2, y - 17), (x + 11, y - 2), (x - 11 - width, y - 2)]
        free = (p for p in places if p[0] > 0 and _clear(p, width, shown, taken))
        place = next(free, None)
        if place is not None:
            taken.append((place[0], place[0] + width, place[1]))
            names.append({"to_x": place[0], "to_y": place[1], "text": text, "size": theme.SMALL_PX})
    return names


def _clear(
    place: tuple[float, float],
    width: float,
    rings: Sequence[tuple[float, float]],
    taken: Sequence[tuple[float, float, float]],
) -> bool:
    left, right, y = place[0], place[0] + width, place[1]
    hides = any(left - 5 < x < right + 5 and abs(py - y) < 13 for x, py in rings)
    meets = any(
        left < end + 6 and right > start - 6 and abs(y - py) < 17 for start, end, py in taken
    )
    return not hides and not meets
