"""Frequency response over the peers' envelope."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.canvas import Field, assemble, field, layer, sentence, words
from backbench.charts.curves import (
    end_names,
    lines_of,
    subject_lines,
    technology_key,
    thin_lines,
)
from backbench.charts.declare import Option, Plate, chart
from backbench.charts.fixed import silent
from backbench.charts.marks import Row
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


@chart("response", COLUMNS, ("peers",), (SPAN,))
def response(plate: Plate) -> alt.LayerChart:
    """Response of one unit over the envelope of its peers, logarithmic in frequency.

    low_db and high_db are the peers' envelope at that frequency, `peers` how many curves it is
    made of.
    """
    rows = [r | {"_end": r["frequency_hz"]} for r in plate.frame.to_dicts() if _drawable(r)]
    if not rows:
        return sentence(plate, "No unit has a frequency response yet.")
    area = field(plate, right=214)
    along = frequency_ruler((r["frequency_hz"] for r in rows), 0.0, area.width)
    along = along.shown(plate.labels.title_of("frequency_hz"))
    up = _levels(plate, rows, area.height)
    up = up.shown_upright(plate.labels.title_of("level_db"), area.left - 26)
    peers = lines_of(rows, "frequency_hz", plate.subject, of_subject=False)
    own = lines_of(rows, "frequency_hz", plate.subject, of_subject=True)
    layers = [
        *_envelope(rows, along, up),
        *thin_lines(peers, along, up, "frequency_hz", "level_db"),
        *technology_key(peers, area, area.height - 8),
        *subject_lines(own, along, up, "frequency_hz", "level_db", None, None),
        *end_names(own, along, up, area, "level_db", _last_level),
        *_note(rows, area),
    ]
    return assemble(plate, area, layers)


def _envelope(rows: Sequence[Row], along: Ruler, up: Ruler) -> list[alt.Chart]:
    """The band between low_db and high_db, one pair a frequency."""
    pairs = {
        r["frequency_hz"]: {"x": r["frequency_hz"], "low": r["low_db"], "high": r["high_db"]}
        for r in rows
        if r["low_db"] is not None and r["high_db"] is not None and r["high_db"] > up.low
    }
    held = [
        pair | {"low": up.held(pair["low"]), "high": up.held(pair["high"])}
        for _, pair in sorted(pairs.items())
    ]
    if not held:
        return []
    band = layer(held).mark_area(color=theme.INK, opacity=1, fillOpacity=0.12)
    return [band.encode(x=along.x("x"), y=up.y("low"), y2="high:Q", tooltip=silent())]


def _note(rows: Sequence[Row], area: Field) -> list[alt.Chart]:
    counts = [r["peers"] for r in rows if r.get("peers")]
    made_of = f", up to {max(counts)} curves" if counts else ""
    text = f"shaded: the peers' envelope{made_of}"
    shaded = any(r["low_db"] is not None for r in rows)
    return (
        [words(text, area.width, -14, 13, colour=theme.SOFT_INK, align="right")] if shaded else []
    )


def _drawable(row: Row) -> bool:
    frequency = row["frequency_hz"]
    return frequency is not None and frequency > 0 and row["level_db"] is not None


def _levels(plate: Plate, rows: list[Row], height: float) -> Ruler:
    unit = plate.labels.unit_of("level_db", "dB")
    levels = [r[n] for r in rows for n in ("level_db", "low_db", "high_db") if r[n] is not None]
    if plate.options["span"] == "auto" and max(levels) > FLOOR_DB:
        levels = [max(level, FLOOR_DB) for level in levels]
    reach = [min(levels), max(levels)]
    if reach[1] - reach[0] < 2:
        reach = [reach[0] - 1, reach[1] + 1]
    return ruler(reach, height, 0.0, unit)


def _last_level(row: Row) -> str:
    return f"\u2002{number(row['level_db'], 2)} dB"
