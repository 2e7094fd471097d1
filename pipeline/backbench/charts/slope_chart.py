"""Before and after a restoration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, ranges_widely
from backbench.charts.chart_text import BOLD, unit_name, wrapped
from backbench.charts.constant_encodings import coloured, dashed, no_tooltip
from backbench.charts.declaration import chart
from backbench.charts.drawing import PAGE, ChartInput
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import (
    Row,
    colour_of,
    dash_of,
    name_labels,
    pixel_x_axis,
    pixel_y_axis,
    shape_of,
)
from backbench.charts.names_beneath import Named, beneath, named_technology
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
from backbench.charts.small_multiples import pixel_encodings, straight_lines
from backbench.quantities.counts import counted
from backbench.quantities.writing import COVERAGE, measured, value_alone

COLUMNS = (
    "unit_key",
    "label",
    "technology",
    "metric",
    "before",
    "before_u",
    "after",
    "after_u",
    "unit",
    "beyond",
)
ROW_PANELS = 4
MOST_PANELS = 2 * ROW_PANELS
NARROW_PANELS, NARROW_PANEL_PX = 4, 110.0
MOST_NAMED = 3
VALUE_STEP_PX = 18.0
NAMED_PX = 35.0
BETWEEN = 78.0
VALUE_PX = 78.0


@dataclass(frozen=True)
class Slot:
    """One panel's place in the field, in pixels."""

    left: float
    span: float
    top: float
    height: float


def _finding(chart_input: ChartInput) -> str:
    """How many values changed by more than the expanded uncertainty of the difference."""
    rows = [r for r in chart_input.frame.to_dicts() if None not in (r["before"], r["after"])]
    if not rows:
        return ""
    known = [r for r in rows if r["beyond"] is not None]
    changed = sum(r["beyond"] > 1 for r in known)
    labels = {r["unit_key"]: r["label"] for r in rows}
    if chart_input.subject and chart_input.subject not in labels:
        return ""
    whose = str(labels.get(chart_input.subject) or counted(len(labels), "unit"))
    return f"{whose}: {changed} of {counted(len(known), 'value')} changed significantly"


@chart("slope", COLUMNS, ("title",), finding=_finding)
def slope(chart_input: ChartInput) -> alt.LayerChart:
    """Before and after: one panel a metric, one line a unit, bars of twice the uncertainty.

    `title` is the metric's name for readers; `beyond` the change over its expanded uncertainty.
    """
    rows = [
        r
        for r in chart_input.frame.to_dicts()
        if r["before"] is not None and r["after"] is not None
    ]
    if not rows:
        return message_chart(chart_input, "No unit was measured both before and after work on it.")
    metrics = list(dict.fromkeys(r["metric"] for r in rows))
    wide = chart_input.size.width >= PAGE.width
    shown = metrics[: MOST_PANELS if wide else NARROW_PANELS]
    area = _area(chart_input, len(shown))
    named_too = len(shown) <= MOST_NAMED and wide
    layers: list[alt.Chart] = []
    for slot, metric in zip(_slots(len(shown), area, wide=wide), shown, strict=True):
        some = [r for r in rows if r["metric"] == metric]
        layers += _panel(some, chart_input, slot, area, named_too=named_too)
    lacking = [_title(r) for m in metrics[len(shown) :] for r in rows if r["metric"] == m]
    more = f"; not drawn: {', '.join(dict.fromkeys(lacking))}" if lacking else ""
    note = f"bars: expanded uncertainty (k = 2){_who(rows, chart_input.subject)}{more}"
    if area.narrow:
        names = [named_technology(name, name) for name in _technologies(rows)]
        area, notes = beneath(area, [*names, Named(note)], 48)
    else:
        notes = [
            text_mark(text, 0, area.height + 44 + 17 * k, 13, colour=theme.SOFT_INK)
            for k, text in enumerate(wrapped(note, area.width, 13, 1 if wide else 3))
        ]
    return assemble(chart_input, area, [*layers, *notes])


def _technologies(rows: Sequence[Row]) -> list[str]:
    return theme.in_order(row["technology"] for row in rows)


def _area(chart_input: ChartInput, panels: int) -> PlotArea:
    """Panels in rows, or one above the other on a phone."""
    if narrow(chart_input):
        tall = NARROW_PANEL_PX * panels + BETWEEN * (panels - 1)
        side = edge(chart_input)
        return plot_area(chart_input, left=side, right=side, bottom=40, above=44, tall=tall)
    bottom = 52 if chart_input.size.width >= PAGE.width else 86
    return plot_area(chart_input, left=26, right=26, bottom=bottom, above=44)


def _who(rows: Sequence[Row], subject: str) -> str:
    """Whose lines these are, where panels have no room for names."""
    labels = {row["unit_key"]: row["label"] for row in rows}
    if len(labels) == 1:
        return f"; {next(iter(labels.values()))}"
    if subject not in labels:
        return ""
    return (
        f"; thick: {labels[subject]}; thin: {len(labels) - 1} other{'s' if len(labels) > 2 else ''}"
    )


def _title(row: Row) -> str:
    """The metric as readers call it."""
    return str(row.get("title") or str(row["metric"]).replace("_", " "))


def _slots(count: int, area: PlotArea, *, wide: bool) -> list[Slot]:
    """Places for the panels: one row, or two where there are more than go into one."""
    deep = count if area.narrow else 1 if count <= (ROW_PANELS if wide else ROW_PANELS // 2) else 2
    columns = -(-count // deep)
    span, height = area.width / columns, (area.height - BETWEEN * (deep - 1)) / deep
    return [
        Slot(span * (k % columns), span, (height + BETWEEN) * (k // columns), height)
        for k in range(count)
    ]


def _panel(
    rows: Sequence[Row], chart_input: ChartInput, slot: Slot, area: PlotArea, *, named_too: bool
) -> list[alt.Chart]:
    left, span, bottom = slot.left, slot.span, slot.top + slot.height
    unit = str(rows[0]["unit"] or "")
    names = min(300.0, max(span * 0.4, 150.0)) if named_too else VALUE_PX
    x1, x2 = left + VALUE_PX, left + span - names - 10
    y_axis = _levels(rows, unit, slot)
    ends = [
        _end(r, side, x, y_axis, chart_input, unit)
        for r in rows
        for side, x in (("before", x1), ("after", x2))
    ]
    drawn = straight_lines(
        [{"px": x, "px2": x, "py": slot.top, "py2": bottom} for x in (x1, x2)],
        area.width,
        area.height,
        theme.RULE,
        1.2,
    )
    drawn += [
        text_mark(
            "before", x1 + 14, bottom + 19, theme.SMALL_PX, align="right", colour=theme.SOFT_INK
        ),
        text_mark("after", x2 - 14, bottom + 19, theme.SMALL_PX, colour=theme.SOFT_INK),
    ]
    heads = wrapped(_title(rows[0]), (span - 16) / BOLD, theme.TEXT_PX + 1)
    drawn += [
        text_mark(
            line, left, slot.top - 14 - 18 * (len(heads) - 1 - k), theme.TEXT_PX + 1, bold=True
        )
        for k, line in enumerate(heads)
    ]
    drawn += _lines(ends, area)
    return drawn + _texts(ends, y_axis, area, slot, (x1, x2), names, named_too=named_too)


def _levels(rows: Sequence[Row], unit: str, slot: Slot) -> Axis:
    values = [r[side] for r in rows for side in ("before", "after")]
    log = ranges_widely(values, unit)
    reach = [
        r[side] + sign * COVERAGE * (r[side + "_u"] or 0.0)
        for r in rows
        for side in ("before", "after")
        for sign in (-1, 1)
    ]
    if log:
        reach = [v for v in reach if v > min(values) / 3]
    return axis([*values, *reach], slot.top + slot.height - 8, slot.top + 8, unit, log)


def _end(row: Row, side: str, x: float, y_axis: Axis, chart_input: ChartInput, unit: str) -> Row:
    spread_u = COVERAGE * (row[side + "_u"] or 0.0)
    low, high = (y_axis.px(y_axis.clamped(row[side] + sign * spread_u)) for sign in (-1, 1))
    u = row[side + "_u"]
    return {
        "unit_key": row["unit_key"],
        "label": row["label"],
        "side": side,
        "px": x,
        "py": y_axis.px(row[side]),
        "low": low,
        "high": high,
        "value": row[side],
        "technology": row["technology"] or "not stated",
        "strong": bool(chart_input.subject) and row["unit_key"] == chart_input.subject,
        "shown": value_alone(row[side], u, unit),
        "value_text": f"{_title(row)}, {side}: {measured(row[side], u, unit)}",
    }


def _lines(ends: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    x, y, _, y2 = pixel_encodings(area.width, area.height)
    tips = [alt.Tooltip("label:N", title="unit"), alt.Tooltip("value_text:N", title="value")]
    drawn = []
    for strong in (False, True):
        some = [e for e in ends if e["strong"] == strong]
        if not some:
            continue
        ink = coloured(theme.INK) if strong else colour_of()
        line = layer(some).mark_line(strokeWidth=3 if strong else 1.2)
        dash = dashed([1, 0]) if strong else dash_of()
        drawn.append(
            line.encode(
                x=x,
                y=y,
                detail=alt.Detail("unit_key:N"),
                color=ink,
                strokeDash=dash,
                tooltip=no_tooltip(),
            )
        )
        posts = [e | {"py": e["low"], "py2": e["high"]} for e in some]
        post = layer(posts).mark_rule(strokeWidth=2.6 if strong else 1.3)
        drawn.append(post.encode(x=x, y=y, y2=y2, color=ink, tooltip=no_tooltip()))
        dot = layer(some).mark_point(
            filled=True, opacity=1, size=theme.SUBJECT_AREA if strong else theme.PEER_AREA
        )
        drawn.append(dot.encode(x=x, y=y, color=ink, shape=shape_of(), tooltip=tips))
    return drawn


def _texts(
    ends: Sequence[Row],
    y_axis: Axis,
    area: PlotArea,
    slot: Slot,
    xs: tuple[float, float],
    room: float,
    *,
    named_too: bool,
) -> list[alt.Chart]:
    """Values at both ends, names below those after. The unit in question where room is short."""
    drawn: list[alt.Chart] = []
    wide = pixel_x_axis(area.width), pixel_y_axis(area.height)
    for side, x in zip(("before", "after"), xs, strict=True):
        some = sorted((e for e in ends if e["side"] == side), key=lambda e: e["py"])
        step = NAMED_PX if named_too and side == "after" else VALUE_STEP_PX
        if len(some) > slot.height // step or (len(some) > 6 and not named_too):
            some = [e for e in some if e["strong"]] or [some[0], some[-1]]
        placed = spread([e["py"] for e in some], step, slot.top + 4, slot.top + slot.height - 16)
        for e, py in zip(some, placed, strict=True):
            text = e["shown"]
            if side == "before":
                lead = {"px": x - 7, "px2": x - 18, "py": e["py"], "py2": py}
                drawn += straight_lines([lead], area.width, area.height, theme.SOFT_INK, 0.8)
                drawn.append(
                    text_mark(text, x - 21, py + 5, theme.SMALL_PX, bold=e["strong"], align="right")
                )
                continue
            row: Row = {
                "from_x": x + 8,
                "from_y": e["py"],
                "to_x": x + 20,
                "to_y": py,
                "text": text,
                "bold": e["strong"],
                "size": theme.SMALL_PX,
            }
            drawn += name_labels([row], *wide)
            if named_too:
                name = unit_name(e["label"], room - 12, theme.SMALL_PX, bold=e["strong"])
                below = {"to_x": x + 20, "to_y": py + 15, "text": name, "bold": e["strong"]}
                drawn += name_labels([below | {"size": theme.SMALL_PX}], *wide)
    return drawn
