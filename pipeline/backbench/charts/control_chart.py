"""A bench over time, as a control chart."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import BOLD, shortened, text_width, wrapped
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import Row
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
from backbench.charts.small_multiples import pixel_encodings, scale_lines, straight_lines
from backbench.comparison.drift import FEWEST, Control
from backbench.comparison.drift import control as control_chart
from backbench.errors import Refusal
from backbench.quantities.counts import counted
from backbench.quantities.writing import COVERAGE, measured, quantity, signed, value_alone

COLUMNS = ("bench_key", "series", "reviewed", "value", "u")
MOST_SERIES = 4
NARROW_PANEL_PX = 176.0
FLAG = theme.LOOKS["tube"].colour
TOGETHER_PX = 3.0

Key = tuple[str, str]


def _finding(chart_input: ChartInput) -> str:
    """How many of the series have a step."""
    charts = [limits([r["value"] for r in some]) for some in _series(chart_input).values()]
    charted = [chart for chart in charts if chart is not None]
    if not charted:
        return ""
    stepped = sum(bool(chart.steps) for chart in charted)
    steps = f"{stepped} with a step" if stepped else "none with a step"
    return f"{chart_input.labels.title}: {counted(len(charted), 'series', 'series')}, {steps}"


def _series(chart_input: ChartInput) -> dict[Key, list[Row]]:
    """Readings by bench and series, in order of time."""
    rows = [r for r in chart_input.frame.to_dicts() if r["value"] is not None and r["reviewed"]]
    series: dict[Key, list[Row]] = {}
    for row in sorted(rows, key=lambda r: _day(r["reviewed"])):
        series.setdefault((row["bench_key"], row["series"]), []).append(row)
    return series


@chart("control", COLUMNS, ("label", "unit", "event"), finding=_finding)
def control(chart_input: ChartInput) -> alt.LayerChart:
    """A bench's readings of itself over time, with control limits and the steps flagged.

    Limits and steps: backbench.comparison.drift. Series with a flagged step are drawn first, then
    one of each sort; what is left out is named.
    """
    series = _series(chart_input)
    rows = [row for some in series.values() for row in some]
    if not rows:
        return message_chart(chart_input, "This bench has no loop-back readings yet.")
    charts = {key: limits([r["value"] for r in some]) for key, some in series.items()}
    keys = ordered_for_drawing(series, charts)
    area = _area(chart_input, min(len(keys), MOST_SERIES))
    days = [_day(r["reviewed"]) for r in rows]
    x_axis = _calendar(min(days), max(days), area.width)
    high = area.height / min(len(keys), MOST_SERIES)
    layers = _years(x_axis, area)
    for k, key in enumerate(keys[:MOST_SERIES]):
        layers += _panel(
            rows=series[key],
            chart_limits=charts[key],
            chart_input=chart_input,
            top=k * high,
            high=high,
            x_axis=x_axis,
            area=area,
        )
    layers += _events(chart_input, x_axis, area)
    foot = _left_out(keys[MOST_SERIES:], charts)
    broken = [len(c.runs) for c in charts.values() if c is not None and c.runs]
    runs = (
        f"; run rules broken {counted(sum(broken), 'time')} in {len(broken)} series"
        if broken
        else ""
    )
    note = f"bars: expanded uncertainty (k = 2){runs}{foot}"
    if area.narrow:
        area, notes = beneath(area, [Named(note)], 46)
        return assemble(chart_input, area, [*layers, *notes])
    lines = wrapped(note, chart_input.size.width - 52, 13)
    layers += [
        text_mark(text, 26 - area.left, area.height + 46 + 17 * k, 13, colour=theme.SOFT_INK)
        for k, text in enumerate(lines)
    ]
    return assemble(chart_input, area, layers)


def _area(chart_input: ChartInput, panels: int) -> PlotArea:
    """With the limits named at the right, or within the panels on a phone."""
    if narrow(chart_input):
        side = {"left": NARROW_AXIS_PX + 16, "right": NARROW_END_PX}
        return plot_area(chart_input, **side, above=18, tall=NARROW_PANEL_PX * panels)
    return plot_area(chart_input, left=104, right=150, bottom=74, above=18)


def _events(chart_input: ChartInput, x_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    """What was done to the bench: a broken line on its day through every panel, named above."""
    drawn: list[alt.Chart] = []
    free = 0.0
    for row in sorted(chart_input.frame.to_dicts(), key=lambda r: _day(r["reviewed"])):
        day = _day(row["reviewed"])
        if not row.get("event") or not x_axis.low <= day <= x_axis.high:
            continue
        x = x_axis.px(day)
        line = {"px": x, "px2": x, "py": 0.0, "py2": area.height}
        drawn += straight_lines([line], area.width, area.height, theme.INK, 1.0, (2, 3))
        text = shortened(str(row["event"]), area.width + area.right - x - 30, 12)
        y = -4.0 if x >= free else area.height - 6
        drawn.append(text_mark(text, x + 4, y, 12, colour=theme.SOFT_INK))
        free = x + text_width(text, 12) + 12 if x >= free else free
    return drawn


def limits(values: Sequence[float]) -> Control | None:
    """The control chart of single values in order of time; None where they are too few."""
    try:
        return control_chart(values)
    except Refusal:
        return None


def ordered_for_drawing(
    series: Mapping[Key, Sequence[Row]], charts: Mapping[Key, Control | None]
) -> list[Key]:
    """Series in the order of their worth: with flagged steps, one of each sort, the others.

    A sort is the series' name without what follows its last comma (the output, the range).
    """
    longest = sorted(series, key=lambda key: -len(series[key]))
    stepped = [key for key in longest if (chart := charts[key]) is not None and chart.steps]
    sorts = {(key[0], _sort(key)) for key in stepped}
    first: list[Key] = []
    for key in longest:
        if (key[0], _sort(key)) not in sorts:
            sorts.add((key[0], _sort(key)))
            first.append(key)
    return [*stepped, *first, *(key for key in longest if key not in stepped and key not in first)]


def _sort(key: Key) -> str:
    return key[1].split(", track")[0].rpartition(", ")[0] or key[1].split(", ")[0]


def _left_out(keys: Sequence[Key], charts: Mapping[Key, Control | None]) -> str:
    """What is not drawn, by sort, with how many have a flagged step."""
    if not keys:
        return ""
    counts: dict[str, int] = {}
    for key in keys:
        counts[_sort(key)] = counts.get(_sort(key), 0) + 1
    stepped = sum((chart := charts[key]) is not None and bool(chart.steps) for key in keys)
    flagged = f"{stepped} of them with a step" if stepped else "none of them with a step"
    listing = ", ".join(f"{count} of {sort}" for sort, count in counts.items())
    return f"; not drawn: {len(keys)} more series, {flagged} ({listing})"


def _day(value: object) -> float:
    if isinstance(value, dt.datetime):
        value = value.date()
    if isinstance(value, dt.date):
        return float(value.toordinal())
    return float(dt.date.fromisoformat(str(value)[:10]).toordinal())


def _calendar(first: float, last: float, width: float) -> Axis:
    room = max((last - first) * 0.03, 20.0)
    low, high = first - room, last + room
    years = range(dt.date.fromordinal(int(low)).year, dt.date.fromordinal(int(high)).year + 2)
    every = max(1, round(len(years) * 60 / width))
    starts = [float(dt.date(y, 1, 1).toordinal()) for y in years if y % every == 0]
    ticks = tuple(t for t in starts if low <= t <= high)
    return Axis(low, high, 0.0, width, False, ticks)


def _years(x_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    lines = [
        {"px": x_axis.px(t), "px2": x_axis.px(t), "py": 0.0, "py2": area.height}
        for t in x_axis.ticks
    ]
    drawn = straight_lines(lines, area.width, area.height)
    foot = {"px": 0.0, "px2": area.width, "py": area.height, "py2": area.height}
    drawn += straight_lines([foot], area.width, area.height, theme.INK, 0.8)
    names = [(x_axis.px(t), str(dt.date.fromordinal(int(t)).year)) for t in x_axis.ticks]
    if not names:
        ends = (x_axis.low, x_axis.high)
        names = [(x_axis.px(t), str(dt.date.fromordinal(int(t)))) for t in ends]
    return drawn + [text_mark(n, x, area.height + 22, align="center") for x, n in names]


def _panel(
    rows: Sequence[Row],
    chart_limits: Control | None,
    chart_input: ChartInput,
    top: float,
    high: float,
    x_axis: Axis,
    area: PlotArea,
) -> list[alt.Chart]:
    unit = str(rows[0].get("unit") or chart_input.labels.unit_of("value"))
    values = [r["value"] for r in rows]
    reach = [r["value"] + sign * COVERAGE * (r["u"] or 0.0) for r in rows for sign in (-1, 1)]
    ends = [chart_limits.low, chart_limits.high] if chart_limits else []
    below_title = 48 if area.narrow else 30
    y_axis = axis([*values, *reach, *ends], top + high - 10, top + below_title, unit)
    title = f"{rows[0]['bench_key']}: {rows[0]['series']}"
    drawn = scale_lines(y_axis, 0.0, area.width, area.width, area.height)
    left = area.paper_left if area.narrow else 0.0
    size = theme.TEXT_PX if area.narrow else 15
    title = shortened(title, (area.width - left) / BOLD, size)
    drawn.append(text_mark(title, left, top + 20, size, bold=True))
    if chart_limits:
        drawn += _limit_lines(chart_limits, y_axis, area)
    else:
        text = f"no limits yet: needs {counted(FEWEST - len(rows), 'more reading')}"
        below = 16 if area.narrow else 0
        drawn.append(
            text_mark(text, area.width, top + 20 + below, 13, colour=theme.SOFT_INK, align="right")
        )
    return (
        drawn
        + _points(rows, chart_limits, unit, y_axis, x_axis, area)
        + _steps(rows, chart_limits, y_axis, x_axis, area)
    )


def _limit_lines(chart_limits: Control, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    levels = (chart_limits.high, chart_limits.centre, chart_limits.low)
    drawn = []
    for value in levels:
        y = y_axis.px(value)
        line = {"px": 0.0, "px2": area.width, "py": y, "py2": y}
        dash = (1, 0) if value == chart_limits.centre else (6, 4)
        drawn += straight_lines([line], area.width, area.height, theme.SOFT_INK, 1.1, dash)
    names = limit_names(chart_limits, y_axis)
    if area.narrow:
        text = names[-1][1]
        if len(names) > 2:
            ends = (quantity(value, y_axis.unit, 4) for value in (levels[2], levels[0]))
            text = f"limits\u2002{' to '.join(ends)}"
        text = shortened(text, area.width + NARROW_AXIS_PX, 12)
        return [*drawn, text_mark(text, area.paper_left, y_axis.end - 8, 12, colour=theme.SOFT_INK)]
    wanted = [y_axis.px(value) for value, _ in names]
    heights = spread(wanted, 16.0, y_axis.end - 16, y_axis.start + 4)
    for (_, text), at in zip(names, heights, strict=True):
        drawn.append(text_mark(text, area.width + 8, at + 4, 12, colour=theme.SOFT_INK))
    return drawn


def limit_names(chart_limits: Control, y_axis: Axis) -> list[tuple[float, str]]:
    """The lines' names with their values; as a distance where they lie too close together."""
    if abs(y_axis.px(chart_limits.high) - y_axis.px(chart_limits.low)) < 2 * TOGETHER_PX:
        reach = chart_limits.high - chart_limits.centre
        text = (
            f"limits\u2002± {quantity(reach, y_axis.unit, 2)}"
            if reach
            else "no limits: all values are equal"
        )
        centre = value_alone(chart_limits.centre, reach / COVERAGE, y_axis.unit)
        return [
            (chart_limits.centre, f"centre\u2002{centre}"),
            (chart_limits.low, text),
        ]
    named = (
        ("upper limit", chart_limits.high),
        ("centre", chart_limits.centre),
        ("lower limit", chart_limits.low),
    )
    return [(value, f"{name}\u2002{quantity(value, y_axis.unit, 4)}") for name, value in named]


def _steps(
    rows: Sequence[Row], chart_limits: Control | None, y_axis: Axis, x_axis: Axis, area: PlotArea
) -> list[alt.Chart]:
    """A line between the readings where the level moved, with by how much."""
    drawn = []
    taken: list[tuple[float, float]] = []
    for at in chart_limits.steps if chart_limits else ():
        x = (x_axis.px(_day(rows[at - 1]["reviewed"])) + x_axis.px(_day(rows[at]["reviewed"]))) / 2
        line = {"px": x, "px2": x, "py": y_axis.start, "py2": y_axis.end}
        drawn += straight_lines([line], area.width, area.height, FLAG, 1.6)
        change = rows[at]["value"] - rows[at - 1]["value"]
        text = f"step {signed(change, y_axis.unit, 2)}"
        width = text_width(text, 13)
        x += 6 if x < area.width - 120 else -6 - width
        lower = 15 * sum(left < x + width and x < right for left, right in taken)
        taken.append((x, x + width))
        drawn.append(text_mark(text, x, y_axis.end + 4 + lower, 13, colour=FLAG, halo=True))
    return drawn


def _points(
    rows: Sequence[Row],
    chart_limits: Control | None,
    unit: str,
    y_axis: Axis,
    x_axis: Axis,
    area: PlotArea,
) -> list[alt.Chart]:
    x, y, _, y2 = pixel_encodings(area.width, area.height)
    placed = []
    for row in rows:
        reach = COVERAGE * (row["u"] or 0.0)
        outside = (
            chart_limits is not None and not chart_limits.low <= row["value"] <= chart_limits.high
        )
        placed.append(
            {
                "px": x_axis.px(_day(row["reviewed"])),
                "py": y_axis.px(row["value"]),
                "low": y_axis.px(row["value"] - reach),
                "high": y_axis.px(row["value"] + reach),
                "outside": outside,
                "day": str(row["reviewed"])[:10],
                "value_text": measured(row["value"], row["u"], unit),
            }
        )
    posts = [p | {"py": p["low"], "py2": p["high"]} for p in placed]
    line = layer(placed).mark_line(color=theme.SOFT_INK, strokeWidth=0.9)
    post = layer(posts).mark_rule(color=theme.INK, strokeWidth=1.2)
    drawn = [
        line.encode(x=x, y=y, tooltip=no_tooltip()),
        post.encode(x=x, y=y, y2=y2, tooltip=no_tooltip()),
    ]
    tips = [
        alt.Tooltip("day:N", title="reviewed"),
        alt.Tooltip("value_text:N", title="value (k = 2)"),
    ]
    for outside in (False, True):
        some = [p for p in placed if p["outside"] == outside]
        if some:
            colour = FLAG if outside else theme.INK
            mark = layer(some).mark_point(
                filled=True,
                opacity=1,
                color=colour,
                size=150 if outside else 50,
                shape="diamond" if outside else "circle",
            )
            drawn.append(mark.encode(x=x, y=y, tooltip=tips))
    return drawn
