"""Distortion of one unit over frequency and power: a disc for each tone, larger where worse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import altair as alt

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, frequency_axis
from backbench.charts.chart_text import text_width
from backbench.charts.constant_encodings import no_tooltip
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import Spot, beside
from backbench.charts.mark_layers import Row, value_text
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    edge,
    layer,
    message_chart,
    narrow,
    plot_area,
    text_mark,
)
from backbench.charts.small_multiples import panel_grid, pixel_encodings
from backbench.quantities.writing import quantity, value_alone

COLUMNS = (
    "unit_key", "label", "output", "frequency_hz", "power_w", "thd_percent", "thd_low", "thd_high",
    "bound",
)  # fmt: skip
LEAST_PX, MOST_PX = 3.0, 13.0
"""Radius of the disc of the least distortion drawn, and of the greatest."""
AT_ENDS = 1.4
DIGITS = 3
BETWEEN = 66.0
NARROW_PANEL_PX = 220.0
BETWEEN_STACKED, PANEL_PX = 74.0, 200.0
KEY_PERCENT = (0.001, 0.01, 0.1, 1.0, 10.0)
TEXT_HEIGHT = 15.0


def _finding(chart_input: ChartInput) -> str:
    """The least and the greatest distortion of the unit that is drawn, each with its tone."""
    own = [row for row in chart_input.rows_of_unit(_placed) if _valued(row)]
    if not own:
        return ""
    ordered = sorted(own, key=lambda row: row["thd_percent"])
    least, most = ordered[0], ordered[-1]
    name = f"{most['label']}: distortion"
    if least["thd_percent"] == most["thd_percent"]:
        return f"{name} {_at(most)}"
    return f"{name} from {_at(least)} to {_at(most)}"


def _at(row: Row) -> str:
    where = f"{quantity(row['frequency_hz'], 'Hz')} and {quantity(row['power_w'], 'W')}"
    return f"{_shown(row)} at {where}"


def _shown(row: Row) -> str:
    if row["bound"]:
        return value_alone(row["thd_percent"], None, "%", row["bound"])
    return quantity(row["thd_percent"], "%", DIGITS)


@chart("distortion-map", COLUMNS, ("reason",), finding=_finding)
def distortion_map(chart_input: ChartInput) -> alt.LayerChart:
    """Distortion of one unit over frequency and power, a panel for each output.

    One row a tone. A tone without a figure is a cross, with its reason in the tooltip.
    """
    rows = chart_input.rows_of_unit(_placed)
    if not any(_valued(row) for row in rows):
        return message_chart(chart_input, "No unit has distortion at several tones yet.")
    names = sorted({row["output"] or "measured" for row in rows})
    area = _area(chart_input, len(names))
    panels = panel_grid(names, area, 1 if narrow(chart_input) else len(names), _gap(chart_input))
    scale = _Discs.of(rows)
    layers: list[alt.Chart] = []
    for name, panel in panels.items():
        some = [row for row in rows if (row["output"] or "measured") == name]
        axes = (
            _frequencies(rows, panel.left, panel.right),
            axis((r["power_w"] for r in rows), panel.bottom, panel.top, "W", log=True),
        )
        layers += panel.ground(*axes, area)
        layers.append(text_mark(name, panel.left, panel.top - 12, theme.TEXT_PX + 1, bold=True))
        layers += _marks(some, axes, scale, area)
        layers += _values(some, axes, scale, area, (panel.right, panel.bottom))
    titles = _titles(chart_input, area)
    return assemble(chart_input, area, [*layers, *titles, *_key(rows, scale, area, chart_input)])


def _placed(row: Row) -> bool:
    return bool(row["frequency_hz"]) and bool(row["power_w"]) and row["power_w"] > 0


def _valued(row: Row) -> bool:
    return row["thd_percent"] is not None and row["thd_percent"] > 0


def _area(chart_input: ChartInput, panels: int) -> PlotArea:
    if narrow(chart_input):
        tall = NARROW_PANEL_PX * panels + BETWEEN_STACKED * (panels - 1)
        return plot_area(chart_input, left=64, right=edge(chart_input), bottom=104, above=56,
                         tall=tall)  # fmt: skip
    return plot_area(chart_input, left=84, right=26, bottom=88, above=52)


def _frequencies(rows: Sequence[Row], left: float, right: float) -> Axis:
    """The axis of frequency, with room for a disc beyond both ends."""
    plain = frequency_axis((row["frequency_hz"] for row in rows), left, right)
    return replace(plain, low=plain.low / AT_ENDS, high=plain.high * AT_ENDS)


def _gap(chart_input: ChartInput) -> float:
    return BETWEEN_STACKED if narrow(chart_input) else BETWEEN


@dataclass(frozen=True)
class _Discs:
    """The radius of a disc by its distortion, in equal steps for equal ratios."""

    low: float
    high: float

    @classmethod
    def of(cls, rows: Sequence[Row]) -> _Discs:
        values = [row["thd_percent"] for row in rows if _valued(row)]
        return cls(min(values), max(values))

    def radius(self, percent: float) -> float:
        """In pixels."""
        span = math.log(self.high / self.low)
        share = math.log(percent / self.low) / span if span else 1.0
        return LEAST_PX + (MOST_PX - LEAST_PX) * min(max(share, 0.0), 1.0)


def _marks(
    rows: Sequence[Row], axes: tuple[Axis, Axis], scale: _Discs, area: PlotArea
) -> list[alt.Chart]:
    x, y, _, _ = pixel_encodings(area.width, area.height)
    tips = [alt.Tooltip("about:N", title="tone"), alt.Tooltip("shown:N", title="THD")]
    drawn: list[alt.Chart] = []
    for bound in (False, True):
        some = [_disc(r, axes, scale) for r in rows if _valued(r) and bool(r["bound"]) == bound]
        if some:
            mark = layer(some).mark_point(
                shape="circle", filled=True, opacity=1, stroke=theme.INK, strokeWidth=1.2,
                fill=theme.PAPER if bound else theme.LINE_GREY,
            )  # fmt: skip
            drawn.append(mark.encode(x=x, y=y, size=alt.Size("area:Q", scale=None), tooltip=tips))
    crosses = [_at_pixel(r, axes) | {"shown": r.get("reason") or "no figure"}
               for r in rows if not _valued(r)]  # fmt: skip
    if crosses:
        drawn.append(_cross(crosses, tips, x, y))
    return drawn


def _cross(rows: Sequence[Row], tips: Sequence[alt.Tooltip], x: alt.X, y: alt.Y) -> alt.Chart:
    mark = layer(rows).mark_text(text="×", fontSize=18, color=theme.INK, baseline="middle")
    drawn: alt.Chart = mark.encode(x=x, y=y, tooltip=list(tips))
    return drawn


def _at_pixel(row: Row, axes: tuple[Axis, Axis]) -> Row:
    about = f"{quantity(row['frequency_hz'], 'Hz')}, {quantity(row['power_w'], 'W')}"
    return {"px": axes[0].px(row["frequency_hz"]), "py": axes[1].px(row["power_w"]), "about": about}


def _disc(row: Row, axes: tuple[Axis, Axis], scale: _Discs) -> Row:
    shown = value_text(row, "thd_percent", "thd_low", "thd_high", "%")
    area = math.pi * scale.radius(row["thd_percent"]) ** 2
    return _at_pixel(row, axes) | {"area": area, "shown": shown}


def _values(
    rows: Sequence[Row], axes: tuple[Axis, Axis], scale: _Discs, area: PlotArea,
    corner: tuple[float, float],
) -> list[alt.Chart]:  # fmt: skip
    """The figure beside each disc, those at the ends of the range first; where there is room."""
    valued = [row for row in rows if _valued(row)]
    middle = math.sqrt(scale.low * scale.high)
    order = sorted(valued, key=lambda r: -abs(math.log(r["thd_percent"] / middle)))
    spots = [_spot(row, axes, scale) for row in order]
    places = beside(spots, TEXT_HEIGHT, corner)
    return [
        text_mark(_shown(row), place[0], place[1] + 5, theme.SMALL_PX)
        for row, place in zip(order, places, strict=True)
        if place is not None and place[0] >= axes[0].start + 2
    ]


def _spot(row: Row, axes: tuple[Axis, Axis], scale: _Discs) -> Spot:
    at = _at_pixel(row, axes)
    width = text_width(_shown(row), theme.SMALL_PX)
    return Spot(at["px"], at["py"], scale.radius(row["thd_percent"]), width)


def _titles(chart_input: ChartInput, area: PlotArea) -> list[alt.Chart]:
    labels = chart_input.labels
    left = edge(chart_input) - area.left
    return [
        text_mark(f"{labels.title_of('power_w')} (W)", left, -32, colour=theme.SOFT_INK),
        text_mark(labels.title_of("frequency_hz"), area.width / 2, area.height + 42,
                  colour=theme.SOFT_INK, align="center"),
    ]  # fmt: skip


def _key(
    rows: Sequence[Row], scale: _Discs, area: PlotArea, chart_input: ChartInput
) -> list[alt.Chart]:
    """How large a disc is for round figures, and what open discs and crosses are."""
    left, y = edge(chart_input) - area.left, area.height + 70
    drawn: list[alt.Chart] = []
    for percent in [p for p in KEY_PERCENT if scale.low <= p <= scale.high]:
        radius, text = scale.radius(percent), quantity(percent, "%")
        mark = layer([{"px": left + radius, "py": y - 5}]).mark_point(
            filled=True, opacity=1, fill=theme.LINE_GREY, stroke=theme.INK, strokeWidth=1.2,
            size=math.pi * radius**2,
        )  # fmt: skip
        x, at, _, _ = pixel_encodings(area.width, area.height)
        drawn.append(mark.encode(x=x, y=at, tooltip=no_tooltip()))
        drawn.append(text_mark(text, left + 2 * radius + 5, y, theme.SMALL_PX))
        left += 2 * radius + 20 + text_width(text, theme.SMALL_PX)
    notes = ["open: at most this"] * any(_valued(r) and r["bound"] for r in rows)
    notes += ["×: no figure"] * any(not _valued(r) for r in rows)
    if narrow(chart_input):
        left, y = edge(chart_input) - area.left, y + 22
    return [*drawn, text_mark("; ".join(notes), left, y, theme.SMALL_PX, colour=theme.SOFT_INK)]
