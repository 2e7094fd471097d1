"""One figure of every unit over the years in which it was made, with the medians of decades."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, ranges_widely
from backbench.charts.bounded_values import known_median
from backbench.charts.chart_text import text_width, unit_name, wrapped
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import Spot, beside
from backbench.charts.mark_layers import (
    Row,
    bound_arrows,
    dots,
    subject_marks,
    value_label,
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
    technology_symbol,
    text_mark,
)
from backbench.quantities.counts import counted
from backbench.quantities.sentences import lowered
from backbench.quantities.writing import quantity

COLUMNS = (
    "unit_key", "label", "technology", "made_first", "made_last", "year", "value", "low", "high",
    "bound", "unit",
)  # fmt: skip
SCALE = Option("scale", ("auto", "linear", "log"), "axis of the values")
FEWEST_IN_DECADE = 3
MOST_NAMED, MOST_NAMED_NARROW = 40, 6
OBSTACLE_PX = 12.0
NARROW_TALL_PX = 320.0
DECADE = 10


@dataclass(frozen=True)
class Decade:
    """A decade's units and the median of their values."""

    start: int
    units: int
    middle: float


def decades(rows: Sequence[Row]) -> list[Decade]:
    """Medians of the decades with enough units, where bounds leave the median known."""
    of_decade: dict[int, list[Row]] = {}
    for row in rows:
        of_decade.setdefault(math.floor(row["year"] / DECADE) * DECADE, []).append(row)
    found = []
    for start, some in sorted(of_decade.items()):
        middle = known_median(some)
        if len(some) >= FEWEST_IN_DECADE and middle is not None:
            found.append(Decade(start, len(some), middle))
    return found


def _finding(chart_input: ChartInput) -> str:
    """The marked unit beside its decade's median; without one, the first and last medians."""
    rows = _rows(chart_input)
    known = decades(rows)
    unit = rows[0]["unit"] if rows else ""
    title = _title(chart_input, rows)
    own = [row for row in rows if row["_strong"]]
    if chart_input.subject:
        return _own_finding(own[0], known, title) if own else ""
    if not known:
        return f"{title} of {counted(len(rows), 'unit')}"
    ends = [f"{quantity(d.middle, unit)} in the {d.start}s" for d in (known[0], known[-1])]
    return f"{title}: median {', '.join(ends if len(known) > 1 else ends[:1])}"


def _own_finding(own: Row, known: Sequence[Decade], title: str) -> str:
    text = f"{own['label']}: {lowered(title)} {value_label(own, own['unit']).strip()}"
    decade = next((d for d in known if d.start <= own["year"] < d.start + DECADE), None)
    if decade is None:
        return text
    middle = quantity(decade.middle, own["unit"])
    return f"{text}; median of {decade.units} made in the {decade.start}s {middle}"


def _title(chart_input: ChartInput, rows: Sequence[Row]) -> str:
    named = rows[0].get("title") if rows else ""
    return str(named or chart_input.labels.title_of("value"))


@chart("timeline", COLUMNS, ("title",), (SCALE,), finding=_finding)
def timeline(chart_input: ChartInput) -> alt.LayerChart:
    """One figure of every unit over the years of making, with the median of each decade.

    One row a unit. A unit made over several years is a bar with its mark in the middle.
    """
    rows = _rows(chart_input)
    if not rows:
        return message_chart(chart_input, "No unit has this figure and a year of making yet.")
    small = narrow(chart_input)
    area = plot_area(chart_input, left=64 if small else 84, right=edge(chart_input) + 12,
                     bottom=130 if small else 84, tall=NARROW_TALL_PX)  # fmt: skip
    x_axis = _years(rows, area.width).with_axis("Year of making", format="d")
    y_axis = _values(chart_input, rows, area.height)
    y_axis = y_axis.with_vertical_axis(_title(chart_input, rows), area.left - edge(chart_input))
    peers = [row for row in rows if not row["_strong"]]
    own = [row for row in rows if row["_strong"]]
    x, y = x_axis.x("year"), y_axis.y("value")
    layers = [
        *_medians(rows, x_axis, y_axis),
        *_spans(peers, x_axis, y, 1.0),
        *vertical_error_bars(peers, y_axis, x, "low", "high", weight=0.7),
        *dots(peers, x, y),
        *bound_arrows(peers, x, y, upright=True),
        *_spans(own, x_axis, y, 2.4),
        *vertical_error_bars(own, y_axis, x, "low", "high", weight=2.2),
        *subject_marks(own, x, y),
        *bound_arrows(own, x, y, upright=True),
        *_names(rows, x_axis, y_axis, area, MOST_NAMED_NARROW if small else MOST_NAMED),
        *_key(rows, area, chart_input),
    ]
    return assemble(chart_input, area, layers)


def _rows(chart_input: ChartInput) -> list[Row]:
    """Drawable rows, the marked unit's first."""
    rows = []
    for row in chart_input.frame.to_dicts():
        if row["year"] is None or row["value"] is None:
            continue
        first, last = (row[name] or row["year"] for name in ("made_first", "made_last"))
        years = f"{first:.0f}" if first == last else f"{first:.0f} to {last:.0f}"
        shown = value_text(row, "value", "low", "high", row["unit"])
        own = bool(chart_input.subject) and row["unit_key"] == chart_input.subject
        rows.append(row | {
            "made_first": first, "made_last": last, "value_text": f"{shown}; made {years}",
            "technology": row["technology"] or "not stated", "_strong": own,
        })  # fmt: skip
    return sorted(rows, key=lambda row: (not row["_strong"], row["year"], row["unit_key"]))


def _years(rows: Sequence[Row], width: float) -> Axis:
    """Whole decades, with a tick at each where there is room, else at every second one."""
    low = math.floor(min(row["made_first"] for row in rows) / DECADE) * DECADE
    high = math.floor(max(row["made_last"] for row in rows) / DECADE) * DECADE + DECADE
    step = DECADE if width / (high - low) * DECADE > 52 else 2 * DECADE
    return Axis(
        float(low), float(high), 0.0, width, False, tuple(map(float, range(low, high + 1, step)))
    )


def _values(chart_input: ChartInput, rows: Sequence[Row], height: float) -> Axis:
    unit, values = rows[0]["unit"], [row["value"] for row in rows]
    ends = [row[name] for row in rows for name in ("low", "high") if row[name] is not None]
    wish = chart_input.options["scale"]
    log = min(values) > 0 and (wish == "log" or (wish == "auto" and ranges_widely(values, unit)))
    if log:
        ends = [end for end in ends if end > min(values) / 3]
    return axis([*values, *ends], height, 0.0, unit, log)


def _medians(rows: Sequence[Row], x_axis: Axis, y_axis: Axis) -> list[alt.Chart]:
    lines = [{"year": float(d.start), "_to": float(d.start + DECADE), "value": d.middle}
             for d in decades(rows)]  # fmt: skip
    if not lines:
        return []
    mark = layer(lines).mark_rule(color=theme.GREY, strokeWidth=3)
    return [mark.encode(x=x_axis.x("year"), x2=alt.X2("_to:Q"), y=y_axis.y("value"),
                        tooltip=no_tooltip())]  # fmt: skip


def _spans(rows: Sequence[Row], x_axis: Axis, y: alt.Y, weight: float) -> list[alt.Chart]:
    """A bar over the years in which a unit may have been made."""
    some = [row for row in rows if row["made_first"] != row["made_last"]]
    if not some:
        return []
    colour = theme.INK if some[0]["_strong"] else theme.GREY
    mark = layer(some).mark_rule(color=colour, strokeWidth=weight)
    return [mark.encode(x=x_axis.x("made_first"), x2=alt.X2("made_last:Q"), y=y,
                        tooltip=no_tooltip())]  # fmt: skip


def _names(
    rows: Sequence[Row], x_axis: Axis, y_axis: Axis, area: PlotArea, most: int
) -> list[alt.Chart]:
    """Names beside their marks where there is room: the marked unit, then the most unusual."""
    at = {row["unit_key"]: (x_axis.px(row["year"]), y_axis.px(row["value"])) for row in rows}
    middle = median(y for _, y in at.values())
    order = sorted(rows, key=lambda r: (not r["_strong"], -abs(at[r["unit_key"]][1] - middle)))
    spots, texts = [], []
    for k, row in enumerate(order):
        bold = row["_strong"]
        text = unit_name(row["label"], area.width * 0.3, theme.SMALL_PX, bold=bold)
        wanted = k < most
        width = text_width(text, theme.SMALL_PX, bold=bold) if wanted else 0.0
        spots.append(Spot(*at[row["unit_key"]], 7.0 if bold else 4.5, width))
        texts.append((text, bold))
    obstacles = [
        Spot(px, at[row["unit_key"]][1], 2.0, 0.0) for row in rows for px in _along(row, x_axis)
    ]
    places = beside([*spots, *obstacles], 14.0, (area.width, area.height))[: len(spots)]
    return [
        text_mark(text, place[0], place[1] + 5, theme.SMALL_PX, bold=bold,
                  colour=theme.INK if bold else theme.SOFT_INK)
        for (text, bold), place in zip(texts, places, strict=True)
        if place is not None
    ]  # fmt: skip


def _along(row: Row, x_axis: Axis) -> list[float]:
    """Pixels along the bar of the years in which a unit may have been made."""
    first, last = x_axis.px(row["made_first"]), x_axis.px(row["made_last"])
    steps = math.ceil((last - first) / OBSTACLE_PX)
    return [first + (last - first) * k / steps for k in range(steps + 1)] if steps else []


def _key(rows: Sequence[Row], area: PlotArea, chart_input: ChartInput) -> list[alt.Chart]:
    """Technologies of the marks, and what bars and open marks are."""
    start = edge(chart_input) - area.left
    left, y = start, area.height + 70
    drawn: list[alt.Chart] = []
    for name in theme.in_order(row["technology"] for row in rows):
        drawn += [technology_symbol(name, left + 6, y - 5),
                  text_mark(name, left + 18, y, theme.SMALL_PX, colour=theme.SOFT_INK)]  # fmt: skip
        left += 34 + text_width(name, theme.SMALL_PX)
    notes = ["broad: median of a decade"] * bool(decades(rows))
    notes += ["bar: made in these years"]
    notes += ["open: a bound"] * any(row["bound"] for row in rows)
    if narrow(chart_input):
        left, y = start - 6, y + 22
    room = area.paper_right - left - 6
    lines = wrapped("; ".join(notes), room, theme.SMALL_PX)
    return drawn + [text_mark(line, left + 6, y + 18 * k, theme.SMALL_PX, colour=theme.SOFT_INK)
                    for k, line in enumerate(lines)]  # fmt: skip
