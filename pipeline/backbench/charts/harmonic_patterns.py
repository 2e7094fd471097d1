"""Harmonic patterns of many units as small plots, like ones side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt
import numpy as np

from backbench.charts import theme
from backbench.charts.axis import Axis, axis
from backbench.charts.chart_text import ordinal, shortened, unit_name
from backbench.charts.constant_encodings import coloured, no_tooltip
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import Row
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
from backbench.charts.small_multiples import (
    Panel,
    panel_grid,
    pixel_encodings,
    scale_lines,
    straight_lines,
)
from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed
from backbench.quantities.writing import number, quantity, value_alone
from backbench.statistics.likeness import in_order_of_likeness, least_differences

COLUMNS = ("unit_key", "label", "technology", "order_n", "level_db", "bound")
MOST_UNITS = 24
COLUMNS_WIDE, COLUMNS_NARROW = 6, 2
BETWEEN, BETWEEN_ROWS, PANEL_PX = 16.0, 34.0, 58.0
NARROW_PANEL_PX = 104.0
LEAST_SPAN_DB = 40.0
NUMBERED = (2, 4, 6, 8, 10)
UNIT = "dB"


@dataclass(frozen=True)
class _Patterns:
    """Units in the order that they are drawn in, with their rows; distances to the first one."""

    rows: dict[str, list[Row]]
    apart: dict[str, float]
    left_out: int


def _patterns(chart_input: ChartInput) -> _Patterns:
    rows = [row for row in chart_input.frame.to_dicts() if row["level_db"] is not None]
    of_unit: dict[str, list[Row]] = {}
    for row in sorted(rows, key=lambda r: (r["unit_key"], r["order_n"])):
        of_unit.setdefault(row["unit_key"], []).append(row)
    keys = list(of_unit)
    if not keys:
        return _Patterns({}, {}, 0)
    distances = _distances(of_unit)
    subject = chart_input.subject
    if subject in of_unit:
        own = distances[keys.index(subject)]
        order = sorted(range(len(keys)), key=lambda k: (keys[k] != subject, own[k], keys[k]))
        apart = {keys[k]: float(own[k]) for k in order}
    else:
        order, apart = in_order_of_likeness(distances), {}
    kept = [keys[k] for k in order[:MOST_UNITS]]
    return _Patterns({key: of_unit[key] for key in kept}, apart, len(keys) - len(kept))


def _distances(of_unit: dict[str, list[Row]]) -> np.ndarray:
    """Between units; those without a common harmonic as far apart as the furthest."""
    orders = sorted({int(row["order_n"]) for rows in of_unit.values() for row in rows})
    levels = np.full((len(of_unit), len(orders)), np.nan)
    bounds = np.zeros(levels.shape, bool)
    for k, rows in enumerate(of_unit.values()):
        for row in rows:
            at = orders.index(int(row["order_n"]))
            levels[k, at], bounds[k, at] = row["level_db"], bool(row["bound"])
    distances = least_differences(levels, bounds)
    return np.nan_to_num(distances, nan=float(np.nanmax(distances)))


def _finding(chart_input: ChartInput) -> str:
    """The marked unit's strongest harmonic and its likest; without one, which are strongest."""
    found = _patterns(chart_input)
    own = found.rows.get(chart_input.subject)
    if chart_input.subject:
        return _own_finding(own, found) if own else ""
    strongest = Counter(most["order_n"] for rows in found.rows.values() if (most := _most(rows)))
    parts = [f"the {ordinal(int(n))} in {count}" for n, count in strongest.most_common(3)]
    technologies = {rows[0]["technology"] for rows in found.rows.values()}
    kind = f"{technologies.pop() or ''} unit".strip() if len(technologies) == 1 else "unit"
    return f"Strongest harmonic of {counted(len(found.rows), kind)}: {listed(parts) or 'none'}"


def _own_finding(own: Sequence[Row], found: _Patterns) -> str:
    most = _most(own)
    text = f"{own[0]['label']}: " + (
        f"{ordinal(int(most['order_n']))} harmonic strongest, "
        f"{quantity(most['level_db'], UNIT)}" if most else "no harmonic above its bound"
    )  # fmt: skip
    likest = list(found.rows)[1:2]
    if not likest:
        return text
    apart = number(found.apart[likest[0]], 2)
    other = found.rows[likest[0]][0]["label"]
    return f"{text}; most alike {other}, {apart} dB apart (root mean square)"


def _most(rows: Sequence[Row]) -> Row | None:
    """The strongest harmonic that is no bound."""
    known = [row for row in rows if not row["bound"]]
    return max(known, key=lambda row: row["level_db"]) if known else None


@chart("patterns", COLUMNS, finding=_finding)
def patterns(chart_input: ChartInput) -> alt.LayerChart:
    """Harmonic levels of many units as small plots on one scale, like ones side by side.

    One row a unit and harmonic. With a marked unit, the others stand in order of their root mean
    square difference from it.
    """
    found = _patterns(chart_input)
    if not found.rows:
        return message_chart(chart_input, "No unit has harmonic levels at this test point yet.")
    left = 64.0 if narrow(chart_input) else 84.0
    columns = COLUMNS_NARROW if narrow(chart_input) else COLUMNS_WIDE
    tall = NARROW_PANEL_PX * -(-len(found.rows) // columns)
    right = edge(chart_input)
    area = plot_area(chart_input, left=left, right=right, bottom=76, above=60, tall=tall)
    panels = panel_grid(list(found.rows), area, columns, BETWEEN, BETWEEN_ROWS)
    layers: list[alt.Chart] = []
    for k, (key, panel) in enumerate(panels.items()):
        y_axis = _levels(found, panel)
        marked = key == chart_input.subject
        layers += _panel(found.rows[key], panel, y_axis, area, first=k % columns == 0, bold=marked)
        if k + columns >= len(panels):
            layers += _orders(panel)
    return assemble(chart_input, area, [*layers, *_words(chart_input, found, area)])


def _levels(found: _Patterns, panel: Panel) -> Axis:
    levels = [row["level_db"] for rows in found.rows.values() for row in rows]
    high, low = max(levels), min(levels)
    return axis([high, min(low - 4, high - LEAST_SPAN_DB)], panel.bottom, panel.top, UNIT)


def _at_order(order: int, panel: Panel) -> float:
    return panel.left + (panel.right - panel.left) * (order - 1.5) / 9


def _panel(
    rows: Sequence[Row], panel: Panel, y_axis: Axis, area: PlotArea, *, first: bool, bold: bool
) -> list[alt.Chart]:
    x, y, _, y2 = pixel_encodings(area.width, area.height)
    colour = theme.INK if bold else theme.look(rows[0]["technology"]).colour
    name = _name(rows[0]["label"], panel.right - panel.left, bold=bold)
    floor = {"px": panel.left, "px2": panel.right, "py": panel.bottom, "py2": panel.bottom}
    drawn = [
        *scale_lines(y_axis, panel.left, panel.right, area.width, area.height, numbers=first),
        *straight_lines([floor], area.width, area.height, theme.INK, 0.8),
        text_mark(name, panel.left, panel.top - 8, theme.SMALL_PX, bold=bold),
    ]
    placed = [_placed(row, panel, y_axis) for row in rows]
    known = [row for row in placed if not row["bound"]]
    if known:
        stem = layer(known).mark_rule(strokeWidth=3 if bold else 2)
        drawn.append(stem.encode(x=x, y=y, y2=y2, color=coloured(colour), tooltip=no_tooltip()))
    tips = [alt.Tooltip("about:N", title="order"), alt.Tooltip("shown:N", title="level")]
    for bound in (False, True):
        some = [row for row in placed if row["bound"] == bound]
        if some:
            mark = layer(some).mark_point(
                filled=True, opacity=1, size=26, shape="triangle-down" if bound else "circle",
                stroke=colour, strokeWidth=1.2, fill=theme.PAPER if bound else colour,
            )  # fmt: skip
            drawn.append(mark.encode(x=x, y=y, tooltip=tips))
    return drawn


def _name(label: str, room: float, *, bold: bool) -> str:
    """The unit's label; without its first word where only so the rest is whole."""
    shown = unit_name(label, room, theme.SMALL_PX, bold=bold)
    _, space, rest = label.partition(" ")
    if space and "…" in shown:
        return shortened(rest, room, theme.SMALL_PX, bold=bold)
    return shown


def _placed(row: Row, panel: Panel, y_axis: Axis) -> Row:
    order = int(row["order_n"])
    return {
        "px": _at_order(order, panel), "py": y_axis.px(y_axis.clamped(row["level_db"])),
        "py2": panel.bottom, "bound": bool(row["bound"]),
        "about": f"{row['label']}, {ordinal(order)}",
        "shown": value_alone(row["level_db"], None, UNIT, row["bound"]),
    }  # fmt: skip


def _orders(panel: Panel) -> list[alt.Chart]:
    return [text_mark(str(n), _at_order(n, panel), panel.bottom + 17, theme.SMALL_PX,
                      align="center") for n in NUMBERED]  # fmt: skip


def _words(chart_input: ChartInput, found: _Patterns, area: PlotArea) -> list[alt.Chart]:
    """The axes' titles, and what open marks and the order are."""
    left = edge(chart_input) - area.left
    title = f"{chart_input.labels.title_of('level_db')} ({UNIT})"
    notes = ["in order of likeness" + " to the first" * bool(found.apart)]
    bounds = any(row["bound"] for rows in found.rows.values() for row in rows)
    notes += ["open: at most this"] * bounds
    notes += [f"{found.left_out} more are not drawn"] * bool(found.left_out)
    return [
        text_mark(title, left, -34, colour=theme.SOFT_INK),
        text_mark("Harmonic", 0, area.height + 42, colour=theme.SOFT_INK),
        text_mark("; ".join(notes), left, area.height + 64, theme.SMALL_PX, colour=theme.SOFT_INK),
    ]
