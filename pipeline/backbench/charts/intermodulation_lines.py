"""Tones and the products that an amplifier makes of them."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Ruler, frequency_ruler, ruler
from backbench.charts.chart_text import text_width, unit_name
from backbench.charts.constant_encodings import silent, x_at, y_at
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import Plate
from backbench.charts.mark_layers import Row, named
from backbench.charts.page_layout import Field, assemble, field, layer, sentence, words
from backbench.quantities.writing import number, quantity

COLUMNS = ("unit_key", "label", "output", "frequency_hz", "level_db", "kind")
AXIS = Option("frequency", ("log", "linear"), "axis of frequency")
TONE = "tone"
MOST_NAMED = 9


@chart("products", COLUMNS, ("name", "bound", "low_db", "high_db"), (AXIS,))
def products(plate: Plate) -> alt.LayerChart:
    """Two tones or many, and their products: each a stem, the strongest products named.

    Rows of kind "tone" are what was played; rows of any other kind are products.
    One output is drawn: the first, which the picture names.
    """
    rows = [r for r in plate.frame.to_dicts() if _drawable(r)]
    key = plate.subject or (rows[0]["unit_key"] if rows else "")
    rows = [r for r in rows if r["unit_key"] == key]
    if not rows:
        return sentence(plate, "This unit has no two-tone or multitone levels yet.")
    outputs = sorted({r["output"] or "" for r in rows})
    rows = [r for r in rows if (r["output"] or "") == outputs[0]]
    area = field(plate, right=214)
    along = _frequencies(plate, rows, area.width)
    levels = [r["level_db"] for r in rows]
    unit = plate.labels.unit_of("level_db", "dB")
    up = ruler([*levels, min(levels) - 8, max(levels) + 6], area.height, 0.0, unit)
    up = up.shown_upright(plate.labels.title_of("level_db"), area.left - 26)
    floor = up.low
    rows = [r | {"_floor": floor, "told": _told(r, unit)} for r in rows]
    tones = [r for r in rows if r["kind"] == TONE]
    made = [r for r in rows if r["kind"] != TONE]
    layers = [
        *_stems(tones, along, up, "#9c968a"),
        *_stems(made, along, up, theme.INK),
        *named(_names(rows, made, along, up), along, up),
        *_caption(rows[0], outputs[0], bool(tones), area),
    ]
    return assemble(plate, area, layers)


def _drawable(row: Row) -> bool:
    frequency = row["frequency_hz"]
    return frequency is not None and frequency > 0 and row["level_db"] is not None


def _frequencies(plate: Plate, rows: Sequence[Row], width: float) -> Ruler:
    found = [r["frequency_hz"] for r in rows]
    if plate.options["frequency"] == "linear":
        made = ruler(found, 0.0, width, "Hz")
    else:
        made = frequency_ruler([min(found) / 1.3, max(found) * 1.3], 0.0, width)
    return made.shown(plate.labels.title_of("frequency_hz"))


def _told(row: Row, unit: str) -> str:
    word = {"upper": "at most ", "lower": "at least "}.get(row.get("bound") or "", "")
    name = f"{row['name']}, " if row.get("name") else ""
    at = quantity(row["frequency_hz"], "Hz", 4)
    return f"{name}{at}: {word}{number(row['level_db'])} {unit}"


def _stems(rows: Sequence[Row], along: Ruler, up: Ruler, colour: str) -> list[alt.Chart]:
    if not rows:
        return []
    x, y = along.x("frequency_hz"), up.y("level_db")
    known = [r for r in rows if not r.get("bound")]
    drawn = []
    if known:
        stem = layer(known).mark_rule(color=colour, strokeWidth=1.6)
        drawn.append(stem.encode(x=x, y=y, y2="_floor:Q", tooltip=silent()))
    sure = [r for r in known if r.get("low_db") is not None and r.get("high_db") is not None]
    if sure:
        held = [r | {"_low": up.held(r["low_db"]), "_high": up.held(r["high_db"])} for r in sure]
        post = layer(held).mark_rule(color=colour, strokeWidth=3)
        drawn.append(post.encode(x=x, y=up.y("_low"), y2="_high:Q", tooltip=silent()))
    tips = [alt.Tooltip("kind:N"), alt.Tooltip("told:N", title="level")]
    for bound in (False, True):
        some = [r for r in rows if bool(r.get("bound")) == bound]
        if some:
            head = layer(some).mark_point(
                filled=True,
                opacity=1,
                size=70,
                fill=theme.PAPER if bound else colour,
                stroke=colour,
                strokeWidth=1.6,
            )
            drawn.append(head.encode(x=x, y=y, tooltip=tips))
    return drawn


def _names(rows: Sequence[Row], made: Sequence[Row], along: Ruler, up: Ruler) -> list[Row]:
    """The strongest products, named above or beside their heads where nothing is hidden."""
    heads = [(along.px(r["frequency_hz"]), up.px(r["level_db"])) for r in rows]
    taken: list[tuple[float, float, float]] = []
    names: list[Row] = []
    for row in sorted(made, key=lambda r: -r["level_db"])[:MOST_NAMED]:
        text = row.get("name") or quantity(row["frequency_hz"], "Hz", 4)
        width = text_width(text, theme.SMALL_PX)
        x, y = along.px(row["frequency_hz"]), up.px(row["level_db"])
        for left, middle in ((x - width / 2, y - 16), (x + 10, y), (x - 10 - width, y)):
            stem = any(left - 4 < hx < left + width + 4 and hy < middle + 9 for hx, hy in heads)
            meets = any(
                left < b + 6 and left + width > a - 6 and abs(middle - m) < 17 for a, b, m in taken
            )
            if not stem and not meets and left > 0:
                taken.append((left, left + width, middle))
                names.append({"to_x": left, "to_y": middle, "text": text, "size": theme.SMALL_PX})
                break
    return names


def _caption(row: Row, output: str, tones: bool, area: Field) -> list[alt.Chart]:
    label = unit_name(row["label"], area.right - 30, theme.TEXT_PX + 1, bold=True)
    drawn = [words(label, area.width + 16, 14, theme.TEXT_PX + 1, bold=True)]
    lines = [(output, theme.INK)] if output else []
    lines += [("tones played", theme.SOFT_INK)] if tones else []
    lines += [("products", theme.INK)]
    for k, (text, colour) in enumerate(lines):
        y = 38 + 22 * k
        if text != output:
            dot = layer([{"frequency_hz": 0}]).mark_point(
                filled=True, opacity=1, size=70, color="#9c968a" if "played" in text else colour
            )
            drawn.append(dot.encode(x=x_at(area.width + 22), y=y_at(y - 5), tooltip=silent()))
        indent = 16 if text == output else 34
        drawn.append(words(text, area.width + indent, y, theme.SMALL_PX, colour=colour))
    return drawn
