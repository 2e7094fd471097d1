"""One metric as a strip of dots for each technology."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, ranges_widely
from backbench.charts.bounded_values import known_median, median_text
from backbench.charts.chart_text import text_width, unit_name
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import swarm
from backbench.charts.mark_layers import (
    Row,
    bound_arrows,
    dots,
    horizontal_error_bars,
    mark_columns,
    name_labels,
    pixel_y_axis,
    subject_marks,
    value_label,
    value_text,
)
from backbench.charts.names_beneath import Named, beneath
from backbench.charts.page_layout import (
    NARROW_END_PX,
    PlotArea,
    assemble,
    layer,
    message_chart,
    narrow,
    plot_area,
    technology_symbol,
    text_mark,
)
from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed, lowered

COLUMNS = ("unit_key", "label", "technology", "value", "low", "high")
OPTIONAL = ("bound", "status", "session_default")
SCALE = Option("scale", ("auto", "linear", "log"), "axis of the values")
DOT_PX = 9.0
NARROW_STRIP_PX = 112.0
FEWEST_FOR_MEDIAN = 3


def value_rows(chart_input: ChartInput, *more: str) -> list[Row]:
    """Rows with a value, technology filled in, the value in words too. more: columns to keep."""
    unit = chart_input.labels.unit_of("value")
    return [
        mark_columns(row, "value", "low", "high", "session_default", *more)
        | {
            "technology": row["technology"] or "not stated",
            "value_text": value_text(row, "value", "low", "high", unit),
            "_strong": bool(chart_input.subject) and row["unit_key"] == chart_input.subject,
        }
        for row in chart_input.frame.to_dicts()
        if row["value"] is not None
    ]


def value_axis(chart_input: ChartInput, rows: Sequence[Row], width: float) -> Axis:
    """The axis of the values with their uncertainty, as the query's option says."""
    unit = chart_input.labels.unit_of("value")
    values = [row["value"] for row in rows]
    log = chart_input.options["scale"] == "log" or (
        chart_input.options["scale"] == "auto" and ranges_widely(values, unit)
    )
    if log and min(values) <= 0:
        log = False
    ends = [row[end] for row in rows for end in ("low", "high") if row[end] is not None]
    if log:
        ends = [end for end in ends if end > min(values) / 3]
    made = axis([*values, *ends], 0.0, width, unit, log)
    return made.with_axis(chart_input.labels.title_of("value"))


def _finding(chart_input: ChartInput) -> str:
    """The marked unit's value, and the median of the other units of its technology.

    Without a unit: the medians of the technologies.
    """
    rows = value_rows(chart_input)
    if not chart_input.subject:
        return _medians_finding(chart_input, rows)
    own = next((row for row in rows if row["_strong"]), None)
    if own is None:
        return ""
    unit = chart_input.labels.unit_of("value")
    peers = [r for r in rows if r["technology"] == own["technology"] and not r["_strong"]]
    title = lowered(chart_input.labels.title_of("value"))
    text = f"{own['label']}: {title} {value_label(own, unit).strip()}"
    if len(peers) < FEWEST_FOR_MEDIAN:
        return text
    kind = f"other {own['technology']} unit"
    middle = median_text(peers, unit)
    return f"{text}; median of {counted(len(peers), kind)} {middle}" if middle else text


def _medians_finding(chart_input: ChartInput, rows: Sequence[Row]) -> str:
    unit, title = chart_input.labels.unit_of("value"), chart_input.labels.title_of("value")
    known: list[str] = []
    for group in theme.in_order(row["technology"] for row in rows):
        members = [row for row in rows if row["technology"] == group]
        middle = median_text(members, unit)
        if len(members) >= FEWEST_FOR_MEDIAN and middle:
            known.append(f"{group} {middle}")
    return f"{title}: median of {listed(known)}" if known else ""


@chart("strip", COLUMNS, OPTIONAL, (SCALE,), finding=_finding)
def strip_plot(chart_input: ChartInput) -> alt.LayerChart:
    """One metric by technology: every unit a dot, medians, the unit in question marked."""
    rows = value_rows(chart_input)
    if not rows:
        return message_chart(chart_input, "No unit has a value of this metric yet.")
    groups = theme.in_order(row["technology"] for row in rows)
    area = _area(chart_input, len(groups))
    x_axis = value_axis(chart_input, rows, area.width)
    step = area.height / len(groups)
    y_axis = pixel_y_axis(area.height)
    for k, group in enumerate(groups):
        members = [row for row in rows if row["technology"] == group]
        place_dots(members, x_axis, step * (k + 0.5), step / 2 - 26, 9.0)
    layers = strip_layers(rows, x_axis, y_axis, step)
    layers += [*strip_labels(groups, rows, area, step), *_names(rows, x_axis, y_axis, step)]
    area, notes = bars_note(rows, x_axis, area)
    return assemble(chart_input, area, [*layers, *notes])


def _area(chart_input: ChartInput, groups: int) -> PlotArea:
    """With the strips' names at their left, or above them on a phone."""
    if narrow(chart_input):
        tall = NARROW_STRIP_PX * groups
        return plot_area(chart_input, left=NARROW_END_PX, right=NARROW_END_PX, above=8, tall=tall)
    return plot_area(chart_input, left=150, right=60, bottom=80, above=18)


def place_dots(
    members: Sequence[Row], x_axis: Axis, middle: float, room: float, diameter: float
) -> None:
    """Set `_y` of each row: as near the middle of its strip as its neighbours let it."""
    offsets = swarm([x_axis.px(row["value"]) for row in members], diameter, max(room, 0.0))
    for row, offset in zip(members, offsets, strict=True):
        row["_y"] = middle + offset


def strip_layers(
    rows: Sequence[Row], x_axis: Axis, y_axis: Axis, step: float, dot: float = theme.PEER_AREA
) -> list[alt.Chart]:
    """Median ticks, uncertainty bars, dots and the strong mark of rows that are placed."""
    x, y = x_axis.x("value"), y_axis.y("_y")
    peers = [row for row in rows if not row["_strong"]]
    subject = [row for row in rows if row["_strong"]]
    return [
        *_medians(rows, x_axis, y_axis, step),
        *horizontal_error_bars(peers, x_axis, y, "low", "high", weight=0.8),
        *dots(peers, x, y, dot),
        *bound_arrows(peers, x, y, upright=False),
        *horizontal_error_bars(subject, x_axis, y, "low", "high", weight=2.2),
        *subject_marks(subject, x, y),
    ]


def bars_note(
    rows: Sequence[Row], x_axis: Axis, area: PlotArea, names: Sequence[Named] = ()
) -> tuple[PlotArea, list[alt.Chart]]:
    """What the bars are, where any is longer than its dot; the area with room for it.

    names: what else is named beneath the plot on a phone.
    """
    bounded = [r for r in rows if r["low"] is not None and r["high"] is not None]
    seen = [
        r
        for r in bounded
        if x_axis.px(x_axis.clamped(r["high"])) - x_axis.px(x_axis.clamped(r["low"])) > DOT_PX
    ]
    notes = ["bars: expanded uncertainty (k = 2)"] if seen else []
    notes += ["open marks: bounds, the arrow points to where the value lies"] * any(
        r.get("bound") for r in rows
    )
    if any(r.get("session_default") for r in rows):
        notes.append("rank: spread between sessions by its stated default")
    if area.narrow:
        return beneath(area, [*names, *(Named(note) for note in notes)])
    if not notes:
        return area, []
    at = area.paper_right, area.height + area.bottom - 12
    return area, [text_mark("; ".join(notes), *at, 13, colour=theme.SOFT_INK, align="right")]


def strip_labels(
    groups: Sequence[str], rows: Sequence[Row], area: PlotArea, step: float, top: float = 0.0
) -> list[alt.Chart]:
    """Technology, its shape and its number of units, left of each strip or at its head."""
    drawn = []
    left = area.paper_left + 6
    for k, group in enumerate(groups):
        count = sum(row["technology"] == group for row in rows)
        y = top + (step * k + 16 if area.narrow else step * (k + 0.5) + 5)
        drawn.append(technology_symbol(group, left, y - 5))
        drawn.append(text_mark(f"{group}, {count}", left + 12, y, theme.SMALL_PX))
    return drawn


def _medians(rows: Sequence[Row], x_axis: Axis, y_axis: Axis, step: float) -> list[alt.Chart]:
    ticks: list[dict[str, Any]] = []
    half = min(step * 0.42, 30.0)
    for group in theme.in_order(row["technology"] for row in rows):
        members = [row for row in rows if row["technology"] == group]
        known = known_median(members)
        if len(members) < FEWEST_FOR_MEDIAN or known is None:
            continue
        middle = median(row["_middle"] if "_middle" in row else row["_y"] for row in members)
        ticks.append(
            {
                "value": known,
                "_y": middle - half,
                "_y2": middle + half,
                "technology": group,
            }
        )
    if not ticks:
        return []
    rule = layer(ticks).mark_rule(strokeWidth=2, color=theme.SOFT_INK)
    return [rule.encode(x=x_axis.x("value"), y=y_axis.y("_y"), y2=alt.Y2("_y2:Q"))]


def _names(rows: Sequence[Row], x_axis: Axis, y_axis: Axis, step: float) -> list[alt.Chart]:
    """The unit in question and each strip's ends, named above or below their dots."""
    wanted: list[Row] = []
    for group in theme.in_order(row["technology"] for row in rows):
        members = sorted((r for r in rows if r["technology"] == group), key=lambda r: r["value"])
        ends = [members[0], members[-1]] if len(members) > 1 else members
        strongs = [r for r in members if r["_strong"]]
        chosen = strongs + [r for r in ends if not r["_strong"]]
        wanted += _strip_names(chosen, members, x_axis, step)
    return name_labels(wanted, x_axis, y_axis)


def _strip_names(
    chosen: Sequence[Row], members: Sequence[Row], x_axis: Axis, step: float
) -> list[Row]:
    middle = sum((min(r["_y"] for r in members), max(r["_y"] for r in members))) / 2
    taken: list[tuple[float, float]] = []
    rows: list[Row] = []
    for row in chosen:
        text = unit_name(row["label"], 220, theme.TEXT_PX, bold=row["_strong"])
        if row["_strong"]:
            text += value_label(row, x_axis.unit)
        width = text_width(text, theme.TEXT_PX + row["_strong"], bold=row["_strong"])
        x = min(max(x_axis.px(row["value"]) - width / 2, 0.0), x_axis.end - width + 40)
        if any(x < end + 10 and x + width > start - 10 for start, end in taken):
            continue
        taken.append((x, x + width))
        low = middle + step / 2 - 18
        at = x_axis.px(row["value"])
        rows.append(
            {
                "from_x": at,
                "from_y": row["_y"] + 7,
                "to_x": x,
                "to_y": low,
                "lead_x": at,
                "lead_y": low - 8,
                "text": text,
                "bold": row["_strong"],
            }
        )
    return rows
