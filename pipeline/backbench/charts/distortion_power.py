"""Distortion against output power."""

from __future__ import annotations

import altair as alt

from backbench.charts.axis import axis
from backbench.charts.between_bounds import in_runs, values_alone
from backbench.charts.curve_layers import (
    band_notes,
    drawn_band,
    ends_of_units,
    lines_beside_band,
    lines_of,
    named_curves,
    subject_lines,
    thin_lines,
)
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import (
    Row,
    bound_arrows,
    dots,
    half_width,
    subject_marks,
    value_text,
)
from backbench.charts.page_layout import assemble, curve_area, message_chart
from backbench.charts.peer_band import envelope
from backbench.quantities.writing import quantity, value_alone

COLUMNS = (
    "unit_key",
    "label",
    "output",
    "technology",
    "power_w",
    "thd_percent",
    "thd_low",
    "thd_high",
)

BOUND_AREA = 26
"""Of a peer's bound: an open mark on no line."""


def _finding(chart_input: ChartInput) -> str:
    """Least and greatest distortion of the marked unit's output that distorts most.

    Without a unit: the lowest of each, for the unit with the least and the one with the most.
    """
    if not chart_input.subject:
        rows = [r for r in chart_input.frame.to_dicts() if _drawable(r)]
        return "Lowest THD of " + ends_of_units(rows, "thd_percent", _least, _thd) if rows else ""
    own = [r for r in chart_input.frame.to_dicts() if r["unit_key"] == chart_input.subject]
    own = [r for r in own if _drawable(r)]
    if not own:
        return ""
    most = max(own, key=lambda r: r["thd_percent"])
    least = min((r for r in own if r["output"] == most["output"]), key=lambda r: r["thd_percent"])
    ends = [f"{_thd(r)} at {quantity(r['power_w'], 'W')}" for r in (least, most)]
    thd = ends[0] if ends[0] == ends[1] else f"from {' to '.join(ends)}"
    return f"{most['label']}: THD {thd}, {most['output'] or 'measured output'}"


def _least(rows: list[Row]) -> Row:
    return min(rows, key=lambda row: float(row["thd_percent"]))


def _thd(row: Row) -> str:
    return value_alone(
        row["thd_percent"], half_width(row, "thd_percent", "thd_low", "thd_high"), "%",
        row.get("bound"),
    )  # fmt: skip


@chart("distortion-power", COLUMNS, ("bound",), finding=_finding)
def distortion_power(chart_input: ChartInput) -> alt.LayerChart:
    """Distortion against power, both logarithmic: one unit over the band of its peers."""
    rows = [row for row in chart_input.frame.to_dicts() if _drawable(row)]
    if not rows:
        return message_chart(chart_input, "No unit has distortion at several powers yet.")
    area = curve_area(chart_input, right=210)
    power = axis((r["power_w"] for r in rows), 0.0, area.width, "W", log=True)
    power = power.with_axis(chart_input.labels.title_of("power_w"))
    thd = axis((r["thd_percent"] for r in rows), area.height, 0.0, "%", log=True)
    thd = thd.with_vertical_axis(chart_input.labels.title_of("thd_percent"), -area.paper_left)
    peers = lines_of(rows, "power_w", chart_input.subject, of_subject=False)
    own = in_runs(
        lines_of(
            [_with_value_text(r) for r in rows], "power_w", chart_input.subject, of_subject=True
        )
    )
    values = {key: [r for r in line if not r.get("bound")] for key, line in peers.items()}
    curves = {
        key: ([r["power_w"] for r in line], [r["thd_percent"] for r in line])
        for key, line in values.items()
    }
    band = envelope(curves, log_y=True)
    points = [row for line in own.values() for row in line]
    each = lines_beside_band(peers, own, banded=bool(band))
    bounds = [
        row | {"value_text": _at(row), "technology": row["technology"] or "not stated"}
        for line in each.values()
        for row in line
        if row.get("bound")
    ]
    area, names = named_curves(
        own, each, power, thd, area, y="thd_percent",
        notes=band_notes(peers, banded=bool(band)),
    )  # fmt: skip
    layers = [
        *drawn_band(band, power, thd),
        *thin_lines(values_alone(each), power, thd, "power_w", "thd_percent"),
        *dots(bounds, power.x("power_w"), thd.y("thd_percent"), BOUND_AREA),
        *bound_arrows(bounds, power.x("power_w"), thd.y("thd_percent"), upright=True),
        *subject_lines(
            lines=own,
            x_axis=power,
            y_axis=thd,
            x="power_w",
            y="thd_percent",
            low="thd_low",
            high="thd_high",
        ),
        *subject_marks(points, power.x("power_w"), thd.y("thd_percent"), size=54),
        *bound_arrows(points, power.x("power_w"), thd.y("thd_percent"), upright=True),
        *names,
    ]
    return assemble(chart_input, area, layers)


def _drawable(row: Row) -> bool:
    power, thd = row["power_w"], row["thd_percent"]
    return power is not None and thd is not None and power > 0 and thd > 0


def _at(row: Row) -> str:
    thd = value_text(row, "thd_percent", "thd_low", "thd_high", "%")
    return f"{thd} at {quantity(row['power_w'], 'W')}"


def _with_value_text(row: Row) -> Row:
    low = None if row["thd_low"] is None or row["thd_low"] <= 0 else row["thd_low"]
    named = {"value_text": _at(row), "_end": row["power_w"], "_strong": True}
    named["technology"] = row["technology"] or "not stated"
    return row | named | {"thd_low": low}
