"""One unit in half a dozen figures among its peers, with its specifications."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, ranges_widely
from backbench.charts.chart_text import BOLD, shortened, text_width, wrapped
from backbench.charts.declaration import chart
from backbench.charts.drawing import PAGE, ChartInput
from backbench.charts.label_placement import swarm
from backbench.charts.mark_layers import (
    Row,
    dots,
    pixel_x_axis,
    pixel_y_axis,
    subject_marks,
    value_label,
    value_text,
)
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    edge,
    message_chart,
    narrow,
    plot_area,
    technology_symbol,
    text_mark,
)
from backbench.charts.small_multiples import straight_lines

COLUMNS = (
    "unit_key", "label", "technology", "metric", "title", "point", "unit", "better", "value",
    "low", "high", "bound", "place", "verdict",
)  # fmt: skip
MOST_FIGURES, MOST_PRINTED = 6, 5
"""The second where the picture has less width than a page's."""
FEWEST_ROWS = 4
"""Fewer figures stand no further apart than so many."""
NAMES_SHARE, VALUES_SHARE = 0.3, 0.36
"""Of the picture's width, what stands at the left and the right of the strips takes."""
DOT_PX = 7.0
LINE_PX = 17.0
GOOD_AT_RIGHT = "better →"
NO_PROMISE = "not specified"
NARROW_FOOT, STACKED_PX = 64, 142


@chart("scorecard", COLUMNS)
def scorecard(chart_input: ChartInput) -> alt.LayerChart:
    """Half a dozen figures of one unit, each among its peers, with what was specified.

    One row a unit and metric. `place` is the marked unit's; `verdict` is its specification with
    what became of it. The heading is the caller's: it counts figures that are not drawn too.
    """
    own = _figures(chart_input)
    if not own:
        return message_chart(chart_input, "This unit has no figure with enough peers yet.")
    if narrow(chart_input):
        return _stacked(chart_input, own)
    whole = chart_input.size.width
    left, right = NAMES_SHARE * whole, VALUES_SHARE * whole
    area = plot_area(chart_input, left=left, right=right, bottom=40, above=26)
    step = area.height / max(len(own), FEWEST_ROWS)
    layers = [text_mark(GOOD_AT_RIGHT, area.width, -8, theme.SMALL_PX, colour=theme.SOFT_INK,
                        align="right")]  # fmt: skip
    rows = _drawable(chart_input)
    for k, row in enumerate(own):
        some = [r for r in rows if r["metric"] == row["metric"]]
        layers += _figure(row, some, area, step * (k + 0.5), step)
    return assemble(chart_input, area, [*layers, *_technologies(rows, own[0], area)])


def _stacked(chart_input: ChartInput, own: Sequence[Row]) -> alt.LayerChart:
    """Each figure as a block: its name, the strip beneath, then its value and specification."""
    side = edge(chart_input)
    area = plot_area(chart_input, left=side, right=side, bottom=NARROW_FOOT, above=26,
                     tall=STACKED_PX * len(own))  # fmt: skip
    layers = [text_mark(GOOD_AT_RIGHT, area.width, -4, theme.SMALL_PX, colour=theme.SOFT_INK,
                        align="right")]  # fmt: skip
    rows, step = _drawable(chart_input), area.height / len(own)
    for k, row in enumerate(own):
        some = [r for r in rows if r["metric"] == row["metric"]]
        layers += _strip(row, some, area, step * k + 62, 40.0)
        layers += _block_words(row, area, step * k)
    return assemble(chart_input, area, [*layers, *_stacked_key(rows, own[0], area)])


def _block_words(own: Row, area: PlotArea, top: float) -> list[alt.Chart]:
    """Name and test point above the strip; value, place and specification beneath it."""
    room = area.width
    title = shortened(own["title"], room / BOLD, theme.TEXT_PX)
    point = shortened(own["point"], room, theme.SMALL_PX)
    value = shortened(_value_and_place(own), room / BOLD, theme.TEXT_PX)
    verdict = wrapped(own["verdict"] or NO_PROMISE, room, theme.SMALL_PX)
    return [
        *_column([title], [point], 0.0, top + 24),
        *_lines([value], verdict, 0.0, top + 94),
    ]


def _stacked_key(rows: list[Row], own: Row, area: PlotArea) -> list[alt.Chart]:
    """What the marks are, on lines of their own."""
    drawn: list[alt.Chart] = []
    left, y = 0.0, area.height + 20
    for name in theme.in_order(row["technology"] for row in rows):
        drawn += [technology_symbol(name, left + 6, y - 5),
                  text_mark(name, left + 18, y, theme.SMALL_PX, colour=theme.SOFT_INK)]  # fmt: skip
        left += 34 + text_width(name, theme.SMALL_PX)
    return drawn + _lines([], wrapped(_key(own), area.width, theme.SMALL_PX), 0.0, y + LINE_PX)


def _drawable(chart_input: ChartInput) -> list[Row]:
    return [
        row | {"technology": row["technology"] or "not stated"}
        for row in chart_input.frame.to_dicts()
        if row["value"] is not None
    ]


def _figures(chart_input: ChartInput) -> list[Row]:
    """The marked unit's rows, in the frame's order; of the first unit where none is marked."""
    rows = _drawable(chart_input)
    subject = chart_input.subject or (rows[0]["unit_key"] if rows else "")
    wide = narrow(chart_input) or chart_input.size.width >= PAGE.width
    most = MOST_FIGURES if wide else MOST_PRINTED
    return [row for row in rows if row["unit_key"] == subject][:most]


def _figure(
    own: Row, rows: list[Row], area: PlotArea, middle: float, step: float
) -> list[alt.Chart]:
    """One figure: its name at the left, all values in a strip, the unit's own in words."""
    return [*_strip(own, rows, area, middle, step), *_words(own, area, middle)]


def _strip(
    own: Row, rows: list[Row], area: PlotArea, middle: float, step: float
) -> list[alt.Chart]:
    """All values of a figure on a line, the unit's own with its uncertainty."""
    scale = _scale(own, rows, area.width)
    x, y = pixel_x_axis(area.width).x("px"), pixel_y_axis(area.height).y("py")
    placed = [_placed(row, scale, middle, own["unit"]) for row in rows]
    peers = [row for row in placed if row["unit_key"] != own["unit_key"]]
    offsets = swarm([row["px"] for row in peers], DOT_PX, step * 0.36)
    peers = [row | {"py": middle + dy} for row, dy in zip(peers, offsets, strict=True)]
    unit = [row for row in placed if row["unit_key"] == own["unit_key"]]
    ground = [{"px": 0.0, "px2": area.width, "py": middle, "py2": middle}]
    return [
        *straight_lines(ground, area.width, area.height, theme.RULE, 1.2),
        *dots(peers, x, y),
        *_reach(unit, area),
        *subject_marks(unit, x, y),
    ]


def _scale(own: Row, rows: list[Row], width: float) -> Axis:
    """An axis of its own for each figure, the better end at the right."""
    values = [_size(row["value"], own["better"]) for row in rows]
    start, end = (14.0, width - 14.0) if own["better"] == "higher" else (width - 14.0, 14.0)
    log = ranges_widely(values, own["unit"])
    return axis(values, start, end, own["unit"], log, of=own["metric"])


def _size(value: float, better: str) -> float:
    """What a value is placed by: its distance from zero where nearer zero is better."""
    return value if better in ("lower", "higher") else abs(value)


def _placed(row: Row, scale: Axis, middle: float, unit: str) -> Row:
    ends = [row["value"] if row[end] is None else row[end] for end in ("low", "high")]
    sizes = [_size(end, row["better"]) for end in ends]
    if row["better"] == "nearer zero" and ends[0] < 0 < ends[1]:
        sizes[0] = 0.0
    reach = [scale.px(scale.clamped(size)) for size in sizes]
    return {
        "unit_key": row["unit_key"],
        "label": row["label"],
        "technology": row["technology"],
        "bound": row["bound"],
        "px": scale.px(scale.clamped(_size(row["value"], row["better"]))),
        "py": middle,
        "from": reach[0],
        "to": reach[1],
        "value_text": value_text(row, "value", "low", "high", unit),
    }


def _reach(unit: list[Row], area: PlotArea) -> list[alt.Chart]:
    """The uncertainty of the unit's own value (k = 2)."""
    bars = [{"px": r["from"], "px2": r["to"], "py": r["py"], "py2": r["py"]} for r in unit]
    return straight_lines(bars, area.width, area.height, theme.INK, 2.4)


def _words(own: Row, area: PlotArea, middle: float) -> list[alt.Chart]:
    """Name and test point at the left; value, place and specification at the right."""
    room, left = area.left - 44, 26 - area.left
    title = wrapped(own["title"], room / BOLD, theme.TEXT_PX)
    verdict = wrapped(own["verdict"] or NO_PROMISE, area.right - 40, theme.SMALL_PX, 3)
    value = _value_and_place(own)
    point = wrapped(own["point"], room, theme.SMALL_PX, 2)
    return [
        *_column(title, point, left, middle),
        *_column([value], verdict, area.width + 18, middle),
    ]


def _value_and_place(own: Row) -> str:
    return f"{value_label(own, own['unit']).strip()}, {own['place'] or 'no rank'}"


def _column(
    strong: Sequence[str], soft: Sequence[str], left: float, middle: float
) -> list[alt.Chart]:
    """Bold lines with plain ones beneath, their middle at a height."""
    count = len(strong) + len(soft)
    return _lines(strong, soft, left, middle + 5 - LINE_PX * (count - 1) / 2)


def _lines(strong: Sequence[str], soft: Sequence[str], left: float, top: float) -> list[alt.Chart]:
    """Bold lines with plain ones beneath, from a baseline on."""
    drawn = []
    for k, text in enumerate([*strong, *soft]):
        bold = k < len(strong)
        size, colour = (theme.TEXT_PX, theme.INK) if bold else (theme.SMALL_PX, theme.SOFT_INK)
        drawn.append(text_mark(text, left, top + LINE_PX * k, size, bold=bold, colour=colour))
    return drawn


def _technologies(rows: list[Row], own: Row, area: PlotArea) -> list[alt.Chart]:
    """What the marks are, beneath the strips."""
    y, left = area.height + 20, 0.0
    drawn: list[alt.Chart] = []
    for name in theme.in_order(row["technology"] for row in rows):
        drawn += [technology_symbol(name, left + 6, y - 5),
                  text_mark(name, left + 18, y, theme.SMALL_PX, colour=theme.SOFT_INK)]  # fmt: skip
        left += 42 + text_width(name, theme.SMALL_PX)
    note, room = _key(own), area.width + area.right - 30
    if text_width(note, theme.SMALL_PX) > room - left:
        left, y = 26 - area.left - 6, y + LINE_PX
        room += area.left
    text = shortened(note, room, theme.SMALL_PX)
    drawn.append(text_mark(text, left + 6, y, theme.SMALL_PX, colour=theme.SOFT_INK))
    return drawn


def _key(own: Row) -> str:
    return f"large: {own['label']}, bar: uncertainty (k = 2)"
