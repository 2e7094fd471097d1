"""Impedance over frequency."""

from __future__ import annotations

import altair as alt

from backbench.charts.axis import frequency_ruler, ruler
from backbench.charts.curve_layers import (
    band_note,
    drawn_band,
    end_names,
    lines_of,
    subject_lines,
    technology_key,
    thin_lines,
)
from backbench.charts.declaration import chart
from backbench.charts.drawing import Plate
from backbench.charts.mark_layers import Row
from backbench.charts.page_layout import assemble, field, sentence
from backbench.charts.peer_band import envelope
from backbench.quantities.writing import quantity

COLUMNS = ("unit_key", "label", "technology", "output", "frequency_hz", "ohm")


@chart("impedance", COLUMNS, ("ohm_low", "ohm_high"))
def impedance(plate: Plate) -> alt.LayerChart:
    """Impedance of one unit over frequency, both logarithmic, over the band of its peers."""
    rows = [_filled(r) for r in plate.frame.to_dicts() if _drawable(r)]
    if not rows:
        return sentence(plate, "No unit has an impedance over frequency yet.")
    area = field(plate, right=214)
    along = frequency_ruler((r["frequency_hz"] for r in rows), 0.0, area.width)
    along = along.shown(plate.labels.title_of("frequency_hz"))
    up = ruler((r["ohm"] for r in rows), area.height, 0.0, "ohm", log=True)
    up = up.shown_upright(plate.labels.title_of("ohm"), area.left - 26)
    peers = lines_of(rows, "frequency_hz", plate.subject, of_subject=False)
    own = lines_of(rows, "frequency_hz", plate.subject, of_subject=True)
    curves = {
        key: ([r["frequency_hz"] for r in line], [r["ohm"] for r in line])
        for key, line in peers.items()
    }
    band = envelope(curves, log_y=True)
    layers = [
        *drawn_band(band, along, up),
        *thin_lines(peers, along, up, "frequency_hz", "ohm"),
        *subject_lines(
            lines=own, along=along, up=up, x="frequency_hz", y="ohm", low="ohm_low", high="ohm_high"
        ),
        *end_names(own, along, up, area, "ohm", lambda r: "\u2002" + quantity(r["ohm"], "ohm")),
        *technology_key(peers, area, area.height - 8),
        *band_note(area, len({unit for unit, _ in peers}), lines=not band),
    ]
    return assemble(plate, area, layers)


def _drawable(row: Row) -> bool:
    frequency, ohm = row["frequency_hz"], row["ohm"]
    return frequency is not None and ohm is not None and frequency > 0 and ohm > 0


def _filled(row: Row) -> Row:
    return {"ohm_low": None, "ohm_high": None} | row | {"_end": row["frequency_hz"]}
