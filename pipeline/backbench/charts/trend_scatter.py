"""One quantity against another, with a robust line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import median
from typing import TypeGuard

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, ranges_widely
from backbench.charts.chart_text import text_width, unit_name
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import freest, spread
from backbench.charts.mark_layers import (
    Row,
    bound_arrows,
    dots,
    half_width,
    mark_columns,
    name_labels,
    subject_marks,
    value_text,
    vertical_error_bars,
)
from backbench.charts.names_beneath import Named, beneath, named_technology
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    curve_area,
    layer,
    message_chart,
    technology_symbol,
    text_mark,
)
from backbench.errors import Refusal
from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed, lowered
from backbench.quantities.units import symbol
from backbench.quantities.writing import number, quantity, signed, value_alone
from backbench.statistics.trends import FEWEST, Trend, step_of
from backbench.statistics.trends import trend as robust

COLUMNS = ("unit_key", "label", "technology", "x", "y", "y_low", "y_high")
SCALE = Option("scale", ("auto", "linear", "log"), "axis of y")
STEPS = 24
NAME_SHIFTS = (0, 18, 34, 50, 70, 90)


def _finding(chart_input: ChartInput) -> str:
    """The marked unit's pair of values; without one, whether y rises or falls with x."""
    rows, labels = _rows(chart_input), chart_input.labels
    title = labels.title_of("y")
    for row in rows:
        if row["_strong"]:
            spread = half_width(row, "y", "y_low", "y_high")
            y = value_alone(row["y"], spread, labels.unit_of("y"), row.get("bound"))
            x = f"{lowered(labels.title_of('x'))} {_x_text(row['x'], labels.unit_of('x'))}"
            return f"{row['label']}: {lowered(title)} {y}; {x}"
    if chart_input.subject or not rows:
        return ""
    return _of_all(chart_input, rows, fitted(rows, _is_log(chart_input, rows)))


def _of_all(chart_input: ChartInput, rows: Sequence[Row], line: Trend | None) -> str:
    """Whether y rises or falls with x; where no line says so, that none is shown, and why."""
    labels = chart_input.labels
    title, units = labels.title_of("y"), counted(len(rows), "unit")
    if line is None:
        why = "too few" if len(rows) < FEWEST else "all alike"
        return f"{title} of {units}: no trend is shown, they are {why}"
    way = "higher" if line.slope > 0 else "lower"
    x_title = lowered(labels.title_of("x"))
    if not line.is_withheld and line.is_seen:
        return f"{title} tends to be {way} at greater {x_title}, over {units}"
    if line.is_withheld:
        within = [f"{'higher' if own.slope > 0 else 'lower'} among {group} units"
                  for group, own in line.within.items() if _is_drawn(own)]  # fmt: skip
        why = f"over all {units} no trend is shown, as technologies differ"
        if within:
            return f"{title}: {listed(within)} at greater {x_title}; {why}"
        return f"{title}: {why}"
    return f"{title}: no relation to {x_title} is seen over {units}, so no trend is shown"


@chart("trend", COLUMNS, ("bound", "status"), (SCALE,), finding=_finding)
def trend(chart_input: ChartInput) -> alt.LayerChart:
    """A scatter of units with a Theil-Sen line, its band, and the lines within technologies.

    Lines are drawn where a relation is seen: where the interval of the slope excludes zero.

    On a logarithmic axis the lines are fitted to the logarithm of y, and the slope is given as
    the factor that one unit of x brings.
    """
    rows = _rows(chart_input)
    if not rows:
        return message_chart(chart_input, "No unit has both quantities yet.")
    area = curve_area(chart_input, right=218)
    x_axis = axis([r["x"] for r in rows], 0.0, area.width, chart_input.labels.unit_of("x"))
    x_axis = x_axis.with_axis(chart_input.labels.title_of("x"))
    y_axis = _y_axis(chart_input, rows, area).with_vertical_axis(
        chart_input.labels.title_of("y"), -area.paper_left
    )
    whole = fitted(rows, y_axis.log)
    peers = [r for r in rows if not r["_strong"]]
    own = [r for r in rows if r["_strong"]]
    x, y = x_axis.x("x"), y_axis.y("y")
    layers = [
        *_band(whole, rows, x_axis, y_axis),
        *vertical_error_bars(peers, y_axis, x, "y_low", "y_high", weight=0.7),
        *dots(peers, x, y),
        *bound_arrows(peers, x, y, upright=True),
        *_within(rows, x_axis, y_axis, area, whole),
        *vertical_error_bars(own, y_axis, x, "y_low", "y_high", weight=2.2),
        *subject_marks(own, x, y),
        *_own_name(own, rows, x_axis, y_axis, area),
    ]
    area, key = _key(rows, whole, area, _verdict_text(whole, len(rows), y_axis, chart_input))
    return assemble(chart_input, area, [*layers, *key])


def _x_text(value: float, unit: str) -> str:
    """A value of x with its unit; a year as its four digits."""
    return quantity(value, unit) if unit else number(value, 4)


def fitted(rows: Sequence[Row], log: bool = False) -> Trend | None:
    """Trend of y, or log10 y, over x, and within technologies (statistics.trends); None if
    refused."""
    try:
        y = [math.log10(r["y"]) if log else float(r["y"]) for r in rows]
        x, groups = (float(r["x"]) for r in rows), (str(r.get("technology")) for r in rows)
        return _robust(tuple(x), tuple(y), tuple(groups))
    except Refusal:
        return None


@lru_cache(maxsize=8)  # for a picture's heading and its lines, on a page and on a phone
def _robust(x: tuple[float, ...], y: tuple[float, ...], groups: tuple[str, ...]) -> Trend:
    return robust(x, y, groups)


def _is_drawn(line: Trend | None) -> TypeGuard[Trend]:
    """Whether there is a line to show: a relation is seen, and groups don't contradict it."""
    return line is not None and line.is_seen and not line.is_withheld


def _rows(chart_input: ChartInput) -> list[Row]:
    unit = chart_input.labels.unit_of("y")
    x_unit = chart_input.labels.unit_of("x")
    rows = []
    for row in chart_input.frame.to_dicts():
        if row["x"] is None or row["y"] is None:
            continue
        at = _x_text(row["x"], x_unit)
        rows.append(
            mark_columns(row, "x", "y", "y_low", "y_high")
            | {
                "technology": row["technology"] or "not stated",
                "value_text": f"{value_text(row, 'y', 'y_low', 'y_high', unit)} at {at}",
                "_strong": bool(chart_input.subject) and row["unit_key"] == chart_input.subject,
            }
        )
    return rows


def _is_log(chart_input: ChartInput, rows: Sequence[Row]) -> bool:
    """Whether the axis of y is logarithmic; never with a value of 0 or below."""
    values = [r["y"] for r in rows]
    wish, unit = chart_input.options["scale"], chart_input.labels.unit_of("y")
    if not values or min(values) <= 0:
        return False
    return wish == "log" or (wish == "auto" and ranges_widely(values, unit))


def _y_axis(chart_input: ChartInput, rows: Sequence[Row], area: PlotArea) -> Axis:
    unit = chart_input.labels.unit_of("y")
    values = [r["y"] for r in rows]
    log = _is_log(chart_input, rows)
    ends = [r[e] for r in rows for e in ("y_low", "y_high") if r[e] is not None]
    if log:
        ends = [e for e in ends if e > min(values) / 3]
    return axis([*values, *ends], area.height, 0.0, unit, log)


def _at(line: Trend, x: float, middle: float, slope: float) -> float:
    """The line turned about its middle to another slope."""
    return line.intercept + line.slope * middle + slope * (x - middle)


def _points(line: Trend, rows: Sequence[Row], y_axis: Axis) -> list[dict[str, float]]:
    """The line and its band over the rows' range of x, as far as the line is on the axis."""
    low, high = min(r["x"] for r in rows), max(r["x"] for r in rows)
    middle = median(r["x"] for r in rows)
    points = []
    for k in range(STEPS + 1):
        x = low + (high - low) * k / STEPS
        transformed = [_at(line, x, middle, slope) for slope in (line.low, line.slope, line.high)]
        low_y, at, high_y = sorted(10.0**v if y_axis.log else v for v in transformed)
        if y_axis.low <= at <= y_axis.high:
            points.append(
                {"x": x, "low": y_axis.clamped(low_y), "y": at, "high": y_axis.clamped(high_y)}
            )
    return points


def _band(whole: Trend | None, rows: Sequence[Row], x_axis: Axis, y_axis: Axis) -> list[alt.Chart]:
    if not _is_drawn(whole):
        return []
    base = layer(_points(whole, rows, y_axis)).encode(x=x_axis.x("x"), tooltip=no_tooltip())
    return [
        base.mark_area(color=theme.INK, opacity=1, fillOpacity=0.09, **theme.BAND_EDGE).encode(
            y=y_axis.y("low"), y2=alt.Y2("high:Q")
        ),
        base.mark_line(color=theme.SOFT_INK, strokeWidth=1.8).encode(y=y_axis.y("y")),
    ]


def _within(
    rows: Sequence[Row], x_axis: Axis, y_axis: Axis, area: PlotArea, whole: Trend | None
) -> list[alt.Chart]:
    """One line for each technology with a relation, named at its right end."""
    drawn: list[alt.Chart] = []
    names: list[Row] = []
    for group in theme.in_order(r["technology"] for r in rows):
        members = [r for r in rows if r["technology"] == group]
        line = whole.within.get(group) if whole else None
        look = theme.look(group)
        text = f"{group}, {len(members)}"
        end = max(members, key=lambda r: r["x"])
        name: Row = {"wanted": y_axis.px(y_axis.clamped(end["y"])), "technology": group}
        points = _points(line, members, y_axis) if _is_drawn(line) else []
        if line is not None and points:
            mark = layer(points).mark_line(color=look.colour, strokeWidth=1.6, strokeDash=look.dash)
            drawn.append(mark.encode(x=x_axis.x("x"), y=y_axis.y("y"), tooltip=no_tooltip()))
            name |= _leader(points[-1], x_axis, y_axis)
            text += f"\u2002ρ {number(line.rho, 2)}"
        names.append(name | {"text": text})
    trunk = _points(whole, rows, y_axis) if _is_drawn(whole) else []
    if whole is not None and trunk:
        names.append(
            {
                **_leader(trunk[-1], x_axis, y_axis),
                "text": f"all, {whole.n}\u2002ρ {number(whole.rho, 2)}",
                "colour": theme.SOFT_INK,
            }
        )
    if area.narrow:
        return drawn
    placed = spread([n["wanted"] for n in names], 20.0, 6.0, area.height - 6)
    x = area.width + 18
    labels = [
        n | {"to_x": x + 18 * ("technology" in n), "lead_x": x - 4, "to_y": y}
        for n, y in zip(names, placed, strict=True)
    ]
    badges = [
        technology_symbol(n["technology"], x + 7, n["to_y"]) for n in labels if "technology" in n
    ]
    return [*drawn, *name_labels(labels, x_axis, y_axis), *badges]


def _leader(end: dict[str, float], x_axis: Axis, y_axis: Axis) -> Row:
    """Where a line ends, as the start of its name's leader."""
    y = y_axis.px(end["y"])
    return {"from_x": x_axis.px(end["x"]) + 4, "from_y": y, "wanted": y}


def _own_name(
    own: Sequence[Row], rows: Sequence[Row], x_axis: Axis, y_axis: Axis, area: PlotArea
) -> list[alt.Chart]:
    """The unit's name beside its mark, where it hides fewest others."""
    others = [(x_axis.px(r["x"]), y_axis.px(r["y"])) for r in rows]
    names = []
    for row in own:
        text = unit_name(row["label"], area.width * 0.6, theme.TEXT_PX + 1, bold=True)
        width = text_width(text, theme.TEXT_PX + 1, bold=True)
        x, y = x_axis.px(row["x"]), y_axis.px(row["y"])
        sides = [s for s in (x + 14, x - 14 - width) if 6 <= s <= area.width - width]
        heights = [h for d in NAME_SHIFTS for h in (y - d, y + d) if 8 <= h <= area.height - 8]
        places = [(s, h) for h in heights for s in sides]
        middle = min(max(x - width / 2, 6.0), area.width - width)
        places += [(middle, h) for h in heights if abs(h - y) >= 22] or [(middle, y - 22)]
        to_x, to_y = freest(places, width, 18.0, others)
        name: Row = {"to_x": to_x, "to_y": to_y, "text": text, "bold": True}
        if abs(to_y - y) > 30:
            edge = to_y + (12 if to_y < y else -12)
            at = min(max(x, to_x), to_x + width)
            name |= {"from_x": x, "from_y": y, "lead_x": at, "lead_y": edge}
        names.append(name)
    return name_labels(names, x_axis, y_axis)


def _key(
    rows: Sequence[Row], whole: Trend | None, area: PlotArea, verdict: str
) -> tuple[PlotArea, list[alt.Chart]]:
    """What the line says, above the plot; on a phone beneath it, with the technologies."""
    if not area.narrow:
        at = area.paper_right, -14
        return area, [text_mark(verdict, *at, 13, colour=theme.SOFT_INK, align="right")]
    names = []
    for group in theme.in_order(r["technology"] for r in rows):
        line = whole.within.get(group) if whole else None
        rho = f"\u2002ρ {number(line.rho, 2)}" if line is not None and _is_drawn(line) else ""
        count = sum(r["technology"] == group for r in rows)
        names.append(named_technology(group, f"{group}, {count}{rho}"))
    return beneath(area, [*names, Named(verdict)])


def _verdict_text(whole: Trend | None, count: int, y_axis: Axis, chart_input: ChartInput) -> str:
    """The slope over all units with its interval, or why there is no line."""
    if whole is None:
        few = f"fewer than {FEWEST} units" if count < FEWEST else "all values are equal"
        return f"no trend line: {few}"
    if whole.is_withheld:
        return "no line over all units: technologies differ"
    unit = chart_input.labels.unit_of("y")
    step, per = step_of(_unit_of_x(chart_input))
    slopes = (step * v for v in (whole.slope, whole.low, whole.high))
    slope, low, high = (_factor(10.0**v) if y_axis.log else signed(v, unit) for v in slopes)
    kind = "factor " if y_axis.log else ""
    if not whole.is_seen:
        return f"no relation seen: {kind}{low} to {high} {per} (95 %)"
    rho = number(whole.rho, 2)
    return f"{kind}{slope} {per}, 95 % interval {low} to {high}; Spearman's ρ {rho}"


def _unit_of_x(chart_input: ChartInput) -> str:
    """What the slope is given for: x's unit; years for years of making, which have none."""
    unit = symbol(chart_input.labels.unit_of("x"))
    title = chart_input.labels.title_of("x").lower()
    return unit or ("year" if title.startswith("year") else f"unit of {title}")


def _factor(value: float) -> str:
    """A factor with the digits that tell it from 1."""
    apart = abs(value - 1)
    return number(value, 3 if apart < 1e-12 else max(3, 2 - math.floor(math.log10(apart))))
