"""Frequency response over the peers' envelope."""

from __future__ import annotations

import altair as alt

from backbench.charts.canvas import assemble, field, sentence
from backbench.charts.curves import (
    band_note,
    drawn_band,
    end_names,
    lines_of,
    subject_lines,
    technology_key,
    thin_lines,
)
from backbench.charts.declare import Option, Plate, chart
from backbench.charts.marks import Row
from backbench.charts.peers import envelope
from backbench.charts.ruler import Ruler, frequency_ruler, ruler
from backbench.charts.wording import number

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


@chart("response", COLUMNS, options=(SPAN,))
def response(plate: Plate) -> alt.LayerChart:
    """Response of one unit over the envelope of its peers, logarithmic in frequency."""
    rows = [r | {"_end": r["frequency_hz"]} for r in plate.frame.to_dicts() if _drawable(r)]
    if not rows:
        return sentence(plate, "No unit has a frequency response yet.")
    area = field(plate, right=176)
    along = frequency_ruler((r["frequency_hz"] for r in rows), 0.0, area.width)
    along = along.shown(plate.labels.title_of("frequency_hz"))
    up = _levels(plate, rows, area.height)
    up = up.shown_upright(plate.labels.title_of("level_db"), area.left - 26)
    peers = lines_of(rows, "frequency_hz", plate.subject, of_subject=False)
    own = lines_of(rows, "frequency_hz", plate.subject, of_subject=True)
    curves = {
        key: ([r["frequency_hz"] for r in line], [r["level_db"] for r in line])
        for key, line in peers.items()
    }
    band = envelope(curves)
    hairlines = {} if band and own else peers
    layers = [
        *drawn_band(band, along, up),
        *thin_lines(hairlines, along, up, "frequency_hz", "level_db"),
        *subject_lines(own, along, up, "frequency_hz", "level_db", "low_db", "high_db"),
        *end_names(own, along, up, area, "level_db", _last_level),
        *technology_key(hairlines, area, area.height - 8),
        *band_note(area, len({unit for unit, _ in peers}), lines=not band),
    ]
    return assemble(plate, area, layers)


def _drawable(row: Row) -> bool:
    frequency = row["frequency_hz"]
    return frequency is not None and frequency > 0 and row["level_db"] is not None


def _levels(plate: Plate, rows: list[Row], height: float) -> Ruler:
    unit = plate.labels.unit_of("level_db", "dB")
    levels = [row["level_db"] for row in rows]
    if plate.options["span"] == "auto" and max(levels) > FLOOR_DB:
        levels = [max(level, FLOOR_DB) for level in levels]
    reach = [min(levels), max(levels)]
    if reach[1] - reach[0] < 2:
        reach = [reach[0] - 1, reach[1] + 1]
    return ruler(reach, height, 0.0, unit)


def _last_level(row: Row) -> str:
    return f"\u2002{number(row['level_db'], 2)} dB"
