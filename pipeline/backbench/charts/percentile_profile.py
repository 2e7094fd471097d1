"""One unit over all its metrics, as percentiles among its peers."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Ruler
from backbench.charts.chart_text import ordinal, shortened
from backbench.charts.constant_encodings import silent
from backbench.charts.declaration import chart
from backbench.charts.drawing import Plate
from backbench.charts.mark_layers import Row
from backbench.charts.page_layout import Field, assemble, field, layer, sentence, words
from backbench.charts.small_multiples import positions, rules
from backbench.quantities.writing import number

COLUMNS = ("metric", "percentile", "low", "high")
MOST_METRICS = 20


@chart("profile", COLUMNS, ("shown", "peers", "title"))
def profile(plate: Plate) -> alt.LayerChart:
    """One unit's percentile in each metric, with the interval that its uncertainty leaves.

    `shown` is the value in words, `peers` the number of units compared with, `title` the
    metric's name for readers.
    """
    rows = [r for r in plate.frame.to_dicts() if r["percentile"] is not None][:MOST_METRICS]
    if not rows:
        return sentence(plate, "This unit has no metric with enough peers yet.")
    area = field(plate, left=236, right=176, bottom=58, above=20)
    along = Ruler(0.0, 100.0, 0.0, area.width, False, (0, 25, 50, 75, 100))
    step = min(area.height / len(rows), 44.0)
    placed = [_placed(r, along, step * (k + 0.5)) for k, r in enumerate(rows)]
    layers = [
        *_ground(along, area, step * len(rows)),
        *_marks(placed, area),
        *_texts(placed, area),
        words(
            plate.labels.title_of("percentile"),
            area.width / 2,
            area.height + 44,
            colour=theme.SOFT_INK,
            align="center",
        ),
    ]
    return assemble(plate, area, layers)


def _placed(row: Row, along: Ruler, y: float) -> Row:
    low = row["percentile"] if row["low"] is None else row["low"]
    high = row["percentile"] if row["high"] is None else row["high"]
    whole = ordinal(round(row["percentile"]))
    told = f"{whole} percentile ({number(low)} to {number(high)})"
    name = row.get("title") or str(row["metric"]).replace("_", " ")
    return row | {
        "name": name,
        "px": along.px(row["percentile"]),
        "py": y,
        "from": along.px(along.held(low)),
        "to": along.px(along.held(high)),
        "told": told,
    }


def _ground(along: Ruler, area: Field, depth: float) -> list[alt.Chart]:
    """The middle half of the peers shaded, quartiles ruled and numbered."""
    x, y, x2, y2 = positions(area.width, area.height)
    half = [{"px": along.px(25), "px2": along.px(75), "py": 0.0, "py2": depth}]
    shade = layer(half).mark_rect(color=theme.BAND, opacity=0.55)
    drawn = [shade.encode(x=x, y=y, x2=x2, y2=y2, tooltip=silent())]
    lines = [{"px": along.px(t), "px2": along.px(t), "py": 0.0, "py2": depth} for t in along.ticks]
    drawn += rules(lines, area.width, area.height)
    middle = [{"px": along.px(50), "px2": along.px(50), "py": 0.0, "py2": depth}]
    drawn += rules(middle, area.width, area.height, theme.SOFT_INK, 1.4)
    return drawn + [
        words(f"{t:g}", along.px(t), area.height + 20, align="center") for t in along.ticks
    ]


def _marks(rows: Sequence[Row], area: Field) -> list[alt.Chart]:
    x, y, x2, _ = positions(area.width, area.height)
    bars = [r | {"px": r["from"], "px2": r["to"]} for r in rows]
    tips = [alt.Tooltip("name:N", title="metric"), alt.Tooltip("told:N", title="among peers")]
    bar = layer(bars).mark_rule(color=theme.INK, strokeWidth=2.4)
    dot = layer(rows).mark_point(
        filled=True, opacity=1, size=110, color=theme.INK, stroke=theme.PAPER, strokeWidth=1.2
    )
    return [bar.encode(x=x, x2=x2, y=y, tooltip=silent()), dot.encode(x=x, y=y, tooltip=tips)]


def _texts(rows: Sequence[Row], area: Field) -> list[alt.Chart]:
    drawn = []
    for row in rows:
        name = shortened(row["name"], area.left - 46, theme.TEXT_PX)
        drawn.append(words(name, -14, row["py"] + 5, align="right"))
        parts = [row.get("shown") or "", f"among {row['peers']}" if row.get("peers") else ""]
        text = shortened("\u2002".join(p for p in parts if p), area.right - 30, theme.SMALL_PX)
        if text:
            drawn.append(words(text, area.width + 14, row["py"] + 5, theme.SMALL_PX))
    return drawn
