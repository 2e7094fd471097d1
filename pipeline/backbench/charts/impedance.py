"""Impedance over frequency."""

from __future__ import annotations

import altair as alt

from backbench.charts.axis import axis, frequency_axis
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
from backbench.charts.mark_layers import Row
from backbench.charts.page_layout import assemble, curve_area, message_chart
from backbench.charts.peer_band import envelope
from backbench.quantities.writing import quantity

COLUMNS = ("unit_key", "label", "technology", "output", "frequency_hz", "ohm")


def _finding(chart_input: ChartInput) -> str:
    """The marked unit's greatest impedance, and where."""
    own = [r for r in chart_input.frame.to_dicts() if r["unit_key"] == chart_input.subject]
    own = [r for r in own if _drawable(r)]
    if not chart_input.subject:
        return _of_all([r for r in chart_input.frame.to_dicts() if _drawable(r)])
    if not own:
        return ""
    most = max(own, key=lambda r: r["ohm"])
    at = quantity(most["frequency_hz"], "Hz")
    output = most["output"] or "measured output"
    return f"{most['label']}: greatest impedance {quantity(most['ohm'], 'ohm')}, at {at}, {output}"


def _of_all(rows: list[Row]) -> str:
    def text(row: Row) -> str:
        return quantity(row["ohm"], "ohm")

    return "Greatest impedance of " + ends_of_units(rows, "ohm", _most, text) if rows else ""


def _most(rows: list[Row]) -> Row:
    return max(rows, key=lambda row: float(row["ohm"]))


@chart("impedance", COLUMNS, ("ohm_low", "ohm_high"), finding=_finding)
def impedance(chart_input: ChartInput) -> alt.LayerChart:
    """Impedance of one unit over frequency, both logarithmic, over the band of its peers."""
    rows = [_filled(r) for r in chart_input.frame.to_dicts() if _drawable(r)]
    if not rows:
        return message_chart(chart_input, "No unit has an impedance over frequency yet.")
    area = curve_area(chart_input, right=214)
    x_axis = frequency_axis((r["frequency_hz"] for r in rows), 0.0, area.width)
    x_axis = x_axis.with_axis(chart_input.labels.title_of("frequency_hz"))
    y_axis = axis((r["ohm"] for r in rows), area.height, 0.0, "ohm", log=True)
    y_axis = y_axis.with_vertical_axis(chart_input.labels.title_of("ohm"), -area.paper_left)
    peers = lines_of(rows, "frequency_hz", chart_input.subject, of_subject=False)
    own = lines_of(rows, "frequency_hz", chart_input.subject, of_subject=True)
    curves = {
        key: ([r["frequency_hz"] for r in line], [r["ohm"] for r in line])
        for key, line in peers.items()
    }
    band = envelope(curves, log_y=True)
    each = lines_beside_band(peers, own, banded=bool(band))
    area, names = named_curves(
        own, each, x_axis, y_axis, area, y="ohm",
        tail=lambda r: "\u2002" + quantity(r["ohm"], "ohm"),
        notes=band_notes(peers, banded=bool(band)),
    )  # fmt: skip
    layers = [
        *drawn_band(band, x_axis, y_axis),
        *thin_lines(each, x_axis, y_axis, "frequency_hz", "ohm"),
        *subject_lines(
            lines=own,
            x_axis=x_axis,
            y_axis=y_axis,
            x="frequency_hz",
            y="ohm",
            low="ohm_low",
            high="ohm_high",
        ),
        *names,
    ]
    return assemble(chart_input, area, layers)


def _drawable(row: Row) -> bool:
    frequency, ohm = row["frequency_hz"], row["ohm"]
    return frequency is not None and ohm is not None and frequency > 0 and ohm > 0


def _filled(row: Row) -> Row:
    return {"ohm_low": None, "ohm_high": None} | row | {"_end": row["frequency_hz"]}
