"""Units in rank order above a strip plot of the same values."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis
from backbench.charts.chart_text import text_width, unit_name
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import rows_to_name, spread
from backbench.charts.mark_layers import Row, half_width, name_labels, pixel_y_axis, value_label
from backbench.charts.names_beneath import Named, named_technology
from backbench.charts.page_layout import (
    NARROW_END_PX,
    PlotArea,
    assemble,
    message_chart,
    narrow,
    plot_area,
    text_mark,
)
from backbench.charts.strip_plot import (
    COLUMNS,
    OPTIONAL,
    SCALE,
    bars_note,
    place_dots,
    strip_labels,
    strip_layers,
    value_axis,
    value_rows,
)
from backbench.quantities.counts import counted
from backbench.quantities.sentences import lowered
from backbench.statistics.ranks import interval_text, is_open, oriented, place

BEST = Option("best", ("lowest", "highest", "nearest zero"), "which value ranks first")
BETTER = {"lowest": "lower", "highest": "higher", "nearest zero": "nearer zero"}
STRIP_PX = 23.0
NAMES_PX = 300
MOST_WITHIN = 7


def _finding(chart_input: ChartInput) -> str:
    """The marked unit's value and the interval of its rank; without one, the first of all."""
    rows = _ranked_rows(chart_input)
    best, unit = chart_input.options["best"], chart_input.labels.unit_of("value")
    name = chart_input.labels.title_of("value")
    if rows and not chart_input.subject:
        kinds = {row["technology"] for row in rows}
        units = counted(len(rows), f"{kinds.pop()} unit" if len(kinds) == 1 else "unit")
        value = value_label(rows[0], unit).strip()
        return f"{name}{',' * (',' in name)} of {units}: {best} {rows[0]['label']}, {value}"
    row = next((row for row in rows if row["_strong"]), None)
    if row is None:
        return ""
    title = lowered(name)
    return f"{row['label']}: {title} {value_label(row, unit).strip()}, {row['rank']}, {best} first"


@chart("ranked", COLUMNS, OPTIONAL, (SCALE, BEST), finding=_finding)
def ranked(chart_input: ChartInput) -> alt.LayerChart:
    """Units in rank order with uncertainty, above a strip plot of the same values by technology."""
    rows = _ranked_rows(chart_input)
    if not rows:
        return message_chart(chart_input, "No unit has a value of this metric yet.")
    groups = theme.in_order(row["technology"] for row in rows)
    area = _area(chart_input, len(rows), len(groups))
    x_axis = value_axis(chart_input, rows, area.width)
    strips = STRIP_PX * len(groups)
    height = area.height - strips - 26
    step = height / len(rows)
    for k, row in enumerate(rows):
        row["_y"] = step * (k + 0.5)
    y_axis = pixel_y_axis(area.height)
    ladder = strip_layers(rows, x_axis, y_axis, 0.0, dot=min(46.0, max(14.0, step * step)))
    below = [dict(row) for row in rows]
    for k, group in enumerate(groups):
        members = [row for row in below if row["technology"] == group]
        place_dots(members, x_axis, area.height - strips + STRIP_PX * (k + 0.5), 0.0, 5.0)
    layers = [
        *ladder,
        *strip_layers([r | {"low": None, "high": None} for r in below], x_axis, y_axis, STRIP_PX),
        *_places(rows, area, step),
    ]
    if area.narrow:
        layers += name_labels(_names_within(rows, x_axis, height), x_axis, y_axis)
    else:
        layers += strip_labels(groups, rows, area, STRIP_PX, area.height - strips)
        layers += name_labels(_names(rows, x_axis, area, height), x_axis, y_axis)
    area, notes = bars_note(rows, x_axis, area, _technologies(groups, rows))
    return assemble(chart_input, area, [*layers, *notes])


def _area(chart_input: ChartInput, rows: int, groups: int) -> PlotArea:
    """With names at the right and technologies at the left, neither on a phone."""
    if narrow(chart_input):
        tall = min(max(12.0 * rows, 200.0), 420.0) + STRIP_PX * groups + 26
        return plot_area(chart_input, left=44, right=NARROW_END_PX, above=14, tall=tall)
    return plot_area(chart_input, left=138, right=NAMES_PX, bottom=74, above=14)


def _technologies(groups: Sequence[str], rows: Sequence[Row]) -> list[Named]:
    counts = Counter(row["technology"] for row in rows)
    return [named_technology(group, f"{group}, {counts[group]}") for group in groups]


def _names_within(rows: Sequence[Row], x_axis: Axis, height: float) -> list[Row]:
    """Names on the rows themselves, on the side of the mark that has more room."""
    subject = [k for k, row in enumerate(rows) if row["_strong"]]
    chosen = rows_to_name(len(rows), subject, most=min(int(height // 26), MOST_WITHIN))
    placed = spread([rows[k]["_y"] for k in chosen], 20.0, 6.0, height)
    names = [_name_within(rows[k], y, x_axis) for k, y in zip(chosen, placed, strict=True)]
    return [one for one in names if one["bold"] or not _hides(one, rows, x_axis)]


def _hides(name: Row, rows: Sequence[Row], x_axis: Axis) -> bool:
    """Whether a name lies on the middle of a mark."""
    end = name["to_x"] + text_width(name["text"], name["size"])
    return any(
        name["to_x"] - 4 < x_axis.px(row["value"]) < end + 4 and abs(name["to_y"] - row["_y"]) < 9
        for row in rows
    )


def _name_within(row: Row, y: float, x_axis: Axis) -> Row:
    strong = bool(row["_strong"])
    ends = [row["value"] if row[end] is None else row[end] for end in ("low", "high")]
    low, high = (x_axis.px(x_axis.clamped(end)) for end in ends)
    rightwards = x_axis.end - high > low
    value = value_label(row, x_axis.unit)
    room = (x_axis.end + 8 - high if rightwards else low) - 14
    room -= text_width(value, theme.SMALL_PX, bold=strong)
    text = unit_name(row["label"], room, theme.SMALL_PX, bold=strong) + value
    left = high + 12 if rightwards else low - 12 - text_width(text, theme.SMALL_PX, bold=strong)
    return {"to_x": left, "to_y": y, "text": text, "bold": strong, "size": theme.SMALL_PX}


PARTS = ("status", "peers", "own_u", "own_dof", "shared_u", "shared_with")
"""Columns that a rank is made from, and that no mark is drawn from."""


def _ranked_rows(chart_input: ChartInput) -> list[Row]:
    """Rows in rank order; the unit in question has its rank in words as "rank"."""
    best = chart_input.options["best"]
    rows = _in_rank_order(value_rows(chart_input, *PARTS), best)
    ranks = {k: _rank_text(rows, k, best) for k, row in enumerate(rows) if row["_strong"]}
    return [
        {name: value for name, value in row.items() if name not in PARTS}
        | ({"rank": ranks[k]} if k in ranks else {})
        for k, row in enumerate(rows)
    ]


def rank_interval(rows: Sequence[Row], index: int, best: str) -> tuple[int, int] | None:
    """First and last place that a row may hold; None with too few others, or where rows were cut.

    Uncertainties by their parts where the query gives them (own_u, own_dof, shared_u,
    shared_with); otherwise low and high are taken as value ± COVERAGE times the standard
    uncertainty.
    """
    if rows[0].get("peers", len(rows)) != len(rows):
        return None
    by_parts = "own_u" in rows[0]
    values = oriented(
        [row["value"] for row in rows],
        [row["own_u"] if by_parts else _uncertainty(row) for row in rows],
        BETTER[best],
        dof=[row.get("own_dof") for row in rows],
        bound=[row.get("bound") for row in rows],
        shared=[row.get("shared_u") or 0.0 for row in rows],
        source=[row.get("shared_with") for row in rows],
    )
    return place(values, index)


def _uncertainty(row: Row) -> float | None:
    return half_width(row, "value", "low", "high")


def _in_rank_order(rows: list[Row], best: str) -> list[Row]:
    if best == "nearest zero":
        return sorted(rows, key=lambda row: abs(row["value"]))
    return sorted(rows, key=lambda row: row["value"], reverse=best == "highest")


def _places(rows: Sequence[Row], area: PlotArea, step: float) -> list[alt.Chart]:
    """Rank numbers at the left, as many as there is room for."""
    every = next(n for n in (1, 2, 5, 10, 20, 50, 100, 1000, 5000) if n * step >= 20)
    places = sorted({1, *range(every, len(rows) + 1, every)})
    return [
        text_mark(str(p), -14, step * (p - 0.5) + 5, 13, colour=theme.SOFT_INK, align="right")
        for p in places
    ]


def _names(rows: Sequence[Row], x_axis: Axis, area: PlotArea, height: float) -> list[Row]:
    """Names in a column at the right; the unit in question has its place on a second line."""
    subject = [k for k, row in enumerate(rows) if row["_strong"]]
    chosen = rows_to_name(len(rows), subject, most=int(height // 24))
    lines = [(k, second) for k in chosen for second in (False, True)[: 1 + (k in subject)]]
    wanted = [rows[k]["_y"] + 9 * (2 * second - 1) * (k in subject) for k, second in lines]
    for k in range(1, len(wanted)):
        wanted[k] = max(wanted[k], wanted[k - 1] + 1e-6)
    placed = spread(wanted, 19.0, 6.0, height)
    return [
        {"to_x": area.width + 16, "to_y": y, "text": rows[k]["rank"]}
        if second
        else _name(rows[k], y, x_axis, area)
        for (k, second), y in zip(lines, placed, strict=True)
    ]


def _name(row: Row, y: float, x_axis: Axis, area: PlotArea) -> Row:
    value = value_label(row, x_axis.unit)
    size = theme.TEXT_PX + row["_strong"]
    strong = bool(row["_strong"])
    room = NAMES_PX - 40 - text_width(value, size, bold=strong)
    end = row["value"] if row["high"] is None else row["high"]
    return {
        "from_x": x_axis.px(x_axis.clamped(end)) + 9,
        "from_y": row["_y"],
        "to_x": area.width + 16,
        "to_y": y,
        "text": unit_name(row["label"], room, size, bold=strong) + value,
        "bold": strong,
    }


def _rank_text(rows: Sequence[Row], index: int, best: str) -> str:
    """The rank in words, or why there is none."""
    interval = rank_interval(rows, index, best)
    if interval is not None:
        text = interval_text(*interval, len(rows))
        return text if is_open(*interval, len(rows)) else f"ranked {text}"
    every = rows[0].get("peers", len(rows))
    if every != len(rows):
        return f"no rank: {len(rows)} of {every} units drawn"
    return f"no rank among {len(rows)}: too few units"
