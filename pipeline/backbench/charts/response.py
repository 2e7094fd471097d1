"""Frequency response over the peers' envelope."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, frequency_axis
from backbench.charts.chart_text import shortened
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.curve_layers import (
    Lines,
    ends_of_units,
    lines_of,
    named_curves,
    notes_where_room,
    subject_lines,
    thin_lines,
)
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import Row
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    curve_area,
    layer,
    message_chart,
    text_mark,
)
from backbench.quantities.writing import quantity, value_alone

COLUMNS = (
    "unit_key",
    "label",
    "technology",
    "output",
    "frequency_hz",
    "level_db",
    "low_db",
    "high_db",
)
SPAN = Option("span", ("auto", "full"), "auto cuts the level at 24 dB below the reference")
FLOOR_DB = -24.0
LEAST_REACH_DB = 0.4
"""Levels that spread by less are drawn on a scale of so much: flatter than flat tells nothing."""
MASK = theme.LOOKS["solid state"].colour


def _finding(chart_input: ChartInput) -> str:
    """The marked unit's spread of level over the drawn band, the worse output.

    Without a unit: the least and the greatest spread of all.
    """
    if not chart_input.subject:
        return _of_all([r for r in chart_input.frame.to_dicts() if _drawable(r)])
    spreads: dict[str, tuple[float, str]] = {}
    own = [r for r in chart_input.frame.to_dicts() if r["unit_key"] == chart_input.subject]
    own = [r for r in own if _drawable(r)]
    for output in {r["output"] for r in own}:
        levels = [r["level_db"] for r in own if r["output"] == output]
        spreads[output or "measured output"] = (max(levels) - min(levels), own[0]["label"])
    if not spreads:
        return ""
    output = max(spreads, key=lambda name: (spreads[name][0], name))
    spread, label = spreads[output]
    hertz = [r["frequency_hz"] for r in own]
    band = f"{quantity(min(hertz), 'Hz')} to {quantity(max(hertz), 'Hz')}"
    return f"{label}: level varies by {quantity(spread, 'dB')} from {band}, {output}"


def _of_all(rows: list[Row]) -> str:
    if not rows:
        return ""
    hertz = [r["frequency_hz"] for r in rows]
    band = f"{quantity(min(hertz), 'Hz')} to {quantity(max(hertz), 'Hz')}"

    def text(row: Row) -> str:
        return quantity(row["_spread"], "dB")

    return f"Spread of level from {band} of " + ends_of_units(rows, "_spread", _spread, text)


def _spread(rows: list[Row]) -> Row:
    """A row of a unit with the spread of its output that has most."""
    outputs: dict[str, list[float]] = {}
    for row in rows:
        outputs.setdefault(row["output"] or "", []).append(row["level_db"])
    return rows[0] | {"_spread": max(max(own) - min(own) for own in outputs.values())}


@chart(
    "response",
    COLUMNS,
    ("peers", "level_u", "mask_db", "mask_low_hz", "mask_high_hz"),
    (SPAN,),
    finding=_finding,
)
def response(chart_input: ChartInput) -> alt.LayerChart:
    """Response of one unit over the envelope of its peers, logarithmic in frequency.

    low_db and high_db are the peers' envelope at that frequency, `peers` how many curves it is
    made of; level_u is the level's standard uncertainty. mask_db is the published spread between
    mask_low_hz and mask_high_hz: a window of that height, where it fits the unit's curve best.
    """
    rows = [_filled(r) for r in chart_input.frame.to_dicts() if _drawable(r)]
    if not rows:
        return message_chart(chart_input, "No unit has a frequency response yet.")
    peers = lines_of(rows, "frequency_hz", chart_input.subject, of_subject=False)
    own = lines_of(rows, "frequency_hz", chart_input.subject, of_subject=True)
    chart_input, notes = notes_where_room(
        chart_input, _notes(rows, own, chart_input.options["span"])
    )
    area = curve_area(chart_input, right=214)
    x_axis = frequency_axis((r["frequency_hz"] for r in rows), 0.0, area.width)
    x_axis = x_axis.with_axis(chart_input.labels.title_of("frequency_hz"))
    y_axis = _levels(chart_input, rows, area.height)
    y_axis = y_axis.with_vertical_axis(chart_input.labels.title_of("level_db"), -area.paper_left)
    area, names = named_curves(
        own, peers, x_axis, y_axis, area, y="level_db", tail=_last_level,
        notes=notes,
    )  # fmt: skip
    layers = [
        *_envelope(rows, x_axis, y_axis),
        *thin_lines(peers, x_axis, y_axis, "frequency_hz", "level_db"),
        *_mask(own, x_axis, y_axis, area),
        *subject_lines(
            lines=own,
            x_axis=x_axis,
            y_axis=y_axis,
            x="frequency_hz",
            y="level_db",
            low="_own_low",
            high="_own_high",
        ),
        *names,
    ]
    return assemble(chart_input, area, layers)


def _envelope(rows: Sequence[Row], x_axis: Axis, y_axis: Axis) -> list[alt.Chart]:
    """The band between low_db and high_db, one pair a frequency."""
    pairs = {
        r["frequency_hz"]: {"x": r["frequency_hz"], "low": r["low_db"], "high": r["high_db"]}
        for r in rows
        if r["low_db"] is not None and r["high_db"] is not None and r["high_db"] > y_axis.low
    }
    clamped = [
        pair | {"low": y_axis.clamped(pair["low"]), "high": y_axis.clamped(pair["high"])}
        for _, pair in sorted(pairs.items())
    ]
    if not clamped:
        return []
    band = layer(clamped).mark_area(color=theme.INK, opacity=1, fillOpacity=0.12, **theme.BAND_EDGE)
    return [
        band.encode(x=x_axis.x("x"), y=y_axis.y("low"), y2=alt.Y2("high:Q"), tooltip=no_tooltip())
    ]


def _filled(row: Row) -> Row:
    """The row with the ends of its own uncertainty (k = 2), none without one."""
    reach = row.get("level_u")
    ends = (
        (None, None)
        if reach is None
        else (row["level_db"] - 2 * reach, row["level_db"] + 2 * reach)
    )
    return row | {"_end": row["frequency_hz"], "_own_low": ends[0], "_own_high": ends[1]}


def mask(lines: Lines) -> tuple[float, float, float, float] | None:
    """Band and levels (Hz, Hz, dB, dB) of the published spread about the unit's curves.

    A spread says how far apart the ends may lie, not where: the window is centred between the
    greatest and the least level that the outputs together have in its band.
    """
    rows = [r for line in lines.values() for r in line if r.get("mask_db")]
    if not rows:
        return None
    height = rows[0]["mask_db"]
    low = rows[0]["mask_low_hz"] or min(r["frequency_hz"] for r in rows)
    high = rows[0]["mask_high_hz"] or max(r["frequency_hz"] for r in rows)
    inside = [r["level_db"] for r in rows if low * 0.99 <= r["frequency_hz"] <= high * 1.01]
    if not inside:
        return None
    middle = (max(inside) + min(inside)) / 2
    return low, high, middle - height / 2, middle + height / 2


def _mask(lines: Lines, x_axis: Axis, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    window = mask(lines)
    if window is None:
        return []
    low, high, under, over = window
    edges = [
        {"x": x_axis.clamped(low), "x2": x_axis.clamped(high), "y": y_axis.clamped(level)}
        for level in (under, over)
    ]
    rule = layer(edges).mark_rule(color=MASK, strokeWidth=1.6, strokeDash=[8, 4])
    band = f"{quantity(low, 'Hz')} to {quantity(high, 'Hz')}"
    text = f"specified: within {quantity(over - under, 'dB')}, {band}"
    at = x_axis.px(x_axis.clamped(low)) + 8, y_axis.px(y_axis.clamped(over)) - 7
    return [
        rule.encode(x=x_axis.x("x"), x2=alt.X2("x2:Q"), y=y_axis.y("y"), tooltip=no_tooltip()),
        text_mark(shortened(text, area.paper_right - at[0], 13), *at, 13, colour=MASK),
    ]


def _notes(rows: Sequence[Row], own: Lines, span: str) -> list[str]:
    """What the grey and the band about the line are, and whether curves are cut."""
    counts = [r["peers"] for r in rows if r.get("peers")]
    made_of = f" of up to {max(counts)} outputs" if counts else ""
    notes = [f"pale: 10th to 90th percentile{made_of}"] * any(r["low_db"] is not None for r in rows)
    notes += ["dark: uncertainty (k = 2)"] * any(
        r["_own_low"] is not None for line in own.values() for r in line
    )
    if span == "auto" and min(r["level_db"] for r in rows) < FLOOR_DB:
        notes.append(f"cut at {quantity(FLOOR_DB, 'dB')}")
    return notes


def _drawable(row: Row) -> bool:
    frequency = row["frequency_hz"]
    return frequency is not None and frequency > 0 and row["level_db"] is not None


def _levels(chart_input: ChartInput, rows: list[Row], height: float) -> Axis:
    unit = chart_input.labels.unit_of("level_db", "dB")
    names = ("level_db", "low_db", "high_db", "_own_low", "_own_high")
    levels = [r[n] for r in rows for n in names if r[n] is not None]
    window = mask(lines_of(rows, "frequency_hz", chart_input.subject, of_subject=True))
    levels += window[2:] if window else ()
    if chart_input.options["span"] == "auto" and max(levels) > FLOOR_DB:
        levels = [max(level, FLOOR_DB) for level in levels]
    reach = [min(levels), max(levels)]
    if reach[1] - reach[0] < LEAST_REACH_DB:
        middle = sum(reach) / 2
        reach = [middle - LEAST_REACH_DB / 2, middle + LEAST_REACH_DB / 2]
    return axis(reach, height, 0.0, unit)


def _last_level(row: Row) -> str:
    return "\u2002" + value_alone(row["level_db"], row.get("level_u"), "dB")
