"""A square wave's trace with what was read off it."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Ruler, ruler
from backbench.charts.chart_text import text_width
from backbench.charts.constant_encodings import silent
from backbench.charts.curve_layers import end_names, lines_of, subject_lines
from backbench.charts.declaration import chart
from backbench.charts.drawing import Plate
from backbench.charts.label_placement import freest
from backbench.charts.mark_layers import Row, named
from backbench.charts.page_layout import Field, assemble, field, layer, sentence

COLUMNS = ("unit_key", "label", "output", "time_s", "volts", "kind")
TRACE = "trace"


@chart("square", COLUMNS, ("note",))
def square(plate: Plate) -> alt.LayerChart:
    """A square wave's trace with rise, overshoot and tilt marked on it.

    Rows of kind "trace" are the waveform. Rows of any other kind are points of one mark: two
    make a line, and `note` says what was read there ("rise time 4.2 µs").
    """
    rows = [r | {"_end": r["time_s"]} for r in plate.frame.to_dicts() if _drawable(r)]
    key = plate.subject or (rows[0]["unit_key"] if rows else "")
    rows = [r for r in rows if r["unit_key"] == key]
    if not rows:
        return sentence(plate, "This unit has no square wave yet.")
    area = field(plate, right=214)
    along = ruler((r["time_s"] for r in rows), 0.0, area.width, "s")
    along = along.shown(plate.labels.title_of("time_s"))
    volts = [r["volts"] for r in rows]
    room = 0.18 * (max(volts) - min(volts))
    up = ruler([*volts, max(volts) + room, min(volts) - room], area.height, 0.0, "V")
    up = up.shown_upright(plate.labels.title_of("volts"), area.left - 26)
    traces = lines_of([r for r in rows if r["kind"] == TRACE], "time_s", key, of_subject=True)
    marks = [r for r in rows if r["kind"] != TRACE]
    layers = [
        *subject_lines(
            lines=traces,
            along=along,
            up=up,
            x="time_s",
            y="volts",
            low=None,
            high=None,
            weight=2.0,
            shaded=True,
        ),
        *_marks(marks, rows, along, up, area),
        *end_names(traces, along, up, area, "volts", shaded=True),
    ]
    return assemble(plate, area, layers)


def _drawable(row: Row) -> bool:
    return row["time_s"] is not None and row["volts"] is not None


def _marks(
    marks: Sequence[Row], rows: Sequence[Row], along: Ruler, up: Ruler, area: Field
) -> list[alt.Chart]:
    """Each kind's points ringed and joined, with its note where it hides least."""
    if not marks:
        return []
    colour = theme.LOOKS["tube"].colour
    x, y = along.x("time_s"), up.y("volts")
    line = layer(marks).mark_line(color=colour, strokeWidth=1.8, strokeDash=[4, 3])
    ring = layer(marks).mark_point(
        filled=True, opacity=1, fill=theme.PAPER, stroke=colour, strokeWidth=2, size=70
    )
    tips = [alt.Tooltip("kind:N", title="mark")]
    drawn = [
        line.encode(x=x, y=y, detail="kind:N", tooltip=silent()),
        ring.encode(x=x, y=y, tooltip=tips),
    ]
    busy = [(along.px(r["time_s"]), up.px(r["volts"])) for r in rows]
    names: list[Row] = []
    for kind in dict.fromkeys(r["kind"] for r in marks):
        points = [r for r in marks if r["kind"] == kind]
        text = points[0].get("note") or str(kind)
        width = text_width(text, theme.TEXT_PX)
        px = sum(along.px(r["time_s"]) for r in points) / len(points)
        py = sum(up.px(r["volts"]) for r in points) / len(points)
        place = freest(_around(px, py, width, area), width, 18.0, busy)
        busy += [(place[0] + width * k / 8, place[1]) for k in range(9)]
        names.append({"to_x": place[0], "to_y": place[1], "text": text})
    return [*drawn, *named(names, along, up)]


def _around(px: float, py: float, width: float, area: Field) -> list[tuple[float, float]]:
    sides = (px + 14, px - width / 2, px - width - 14)
    heights = (py, py - 22, py + 22, py - 40, py + 40)
    return [
        (min(max(s, 0.0), area.width - width), min(max(h, 8.0), area.height - 8))
        for h in heights
        for s in sides
    ]
