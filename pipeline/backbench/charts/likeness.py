"""Units on a plane, near each other where half a dozen figures are alike."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import altair as alt
import numpy as np

from backbench.charts import theme
from backbench.charts.chart_text import text_width, unit_name, wrapped
from backbench.charts.declaration import chart
from backbench.charts.drawing import ChartInput
from backbench.charts.label_placement import Spot, beside
from backbench.charts.mark_layers import Row, dots, pixel_x_axis, pixel_y_axis, subject_marks
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
from backbench.quantities.counts import counted
from backbench.quantities.sentences import listed, lowered
from backbench.quantities.writing import number
from backbench.statistics.likeness import LikenessMap, likeness_map
from backbench.statistics.nearest_neighbours import logarithmic, robust_scale

COLUMNS = ("unit_key", "label", "technology", "metric", "title", "value", "bound", "unit")
FEWEST_UNITS = 4
MOST_DEVIATIONS = 3.0
"""What lies further from the median counts as so far: one odd unit doesn't make the map."""
EDGE_PX, NARROW_TALL_PX = 30.0, 330.0
SCALE_BAR_PX = 24.0
SCALE_TEXT = "1 robust standard deviation"
MEANING = (
    "distance: root of the summed squares of the differences of {figures}, each in robust "
    "standard deviations (at most 3 from the median); the plane shows {shown}\u00a0% of the spread"
)


@dataclass(frozen=True)
class _Placed:
    """Units with every figure: their rows and scaled figures; and why others are left out."""

    units: list[Row]
    titles: list[str]
    scaled: np.ndarray
    lacking: dict[str, list[str]]

    @cached_property
    def map(self) -> LikenessMap:
        return likeness_map(self.scaled)

    @cached_property
    def distances(self) -> np.ndarray:
        """Between all units, over all figures."""
        apart = self.scaled[:, None] - self.scaled
        return np.asarray(np.sqrt((apart**2).sum(axis=2)))

    def index(self, unit_key: str) -> int | None:
        return next((k for k, u in enumerate(self.units) if u["unit_key"] == unit_key), None)


def _placed(chart_input: ChartInput) -> _Placed:
    rows = chart_input.frame.to_dicts()
    metrics = {row["metric"]: row for row in rows}
    units = {row["unit_key"]: row for row in rows}
    table = np.full((len(units), len(metrics)), np.nan)
    places = {key: k for k, key in enumerate(units)}, {key: k for k, key in enumerate(metrics)}
    lacking: dict[str, list[str]] = {}
    for row in rows:
        logs = bool(logarithmic([row["unit"]])[0])
        value, ok = row["value"], row["value"] is not None and not row["bound"]
        if not ok or (logs and value <= 0):
            kind = "only a bound of" if row["bound"] else "no"
            lacking.setdefault(row["unit_key"], []).append(f"{kind} {lowered(row['title'])}")
            continue
        table[places[0][row["unit_key"]], places[1][row["metric"]]] = (
            math.log(value) if logs else value
        )
    scaled = np.clip(robust_scale(table), -MOST_DEVIATIONS, MOST_DEVIATIONS)
    telling = np.asarray(np.isfinite(scaled).any(axis=0))
    whole = np.asarray(np.isfinite(table).all(axis=1))
    titles = [row["title"] for k, row in enumerate(metrics.values()) if telling[k]]
    kept = [unit for k, unit in enumerate(units.values()) if whole[k]]
    return _Placed(kept, titles, scaled[np.ix_(whole, telling)], lacking)


def _finding(chart_input: ChartInput) -> str:
    """The units most like the marked one; without one, the two most alike and the most apart."""
    found = _placed(chart_input)
    own = found.index(chart_input.subject) if chart_input.subject else None
    if chart_input.subject and own is None:
        labels = [r["label"] for r in chart_input.frame.to_dicts()
                  if r["unit_key"] == chart_input.subject]  # fmt: skip
        return f"{labels[0]}: not on the map"
    if len(found.units) < FEWEST_UNITS:
        return ""
    names = [unit["label"] for unit in found.units]
    if own is not None:
        near = [k for k in np.argsort(found.distances[own], kind="stable") if k != own][:2]
        return f"{names[own]}: measures most like {listed([names[k] for k in near])}"
    models = np.array([unit.get("model") or key for key, unit in enumerate(found.units)], object)
    apart = np.where(models[:, None] == models, np.inf, found.distances)
    first, second = np.unravel_index(int(apart.argmin()), apart.shape)
    alone = int(apart.min(axis=1).argmax())
    return (
        f"Most alike of {counted(len(names), 'unit')}: {names[first]} and {names[second]}; least "
        f"like any other: {names[alone]}"
    )


@chart("likeness", COLUMNS, ("model",), finding=_finding)
def likeness(chart_input: ChartInput) -> alt.LayerChart:
    """Units on a plane, near each other where their figures are alike (classical scaling).

    One row a unit and figure; `model` tells units that are alike by making. A unit that lacks a
    figure, or has only a bound of one, is left out.
    """
    found = _placed(chart_input)
    if chart_input.subject and found.index(chart_input.subject) is None:
        return message_chart(chart_input, _why(found, chart_input.subject))
    if len(found.units) < FEWEST_UNITS or not found.titles:
        return message_chart(chart_input, "Too few units have all the figures of the map yet.")
    small = narrow(chart_input)
    side = edge(chart_input)
    area = plot_area(chart_input, left=side, right=side, bottom=256 if small else 130, above=10,
                     tall=NARROW_TALL_PX)  # fmt: skip
    at, scale = _pixels(found.map.places, area)
    rows = [_mark(unit, px, chart_input.subject) for unit, px in zip(found.units, at, strict=True)]
    wide, high = pixel_x_axis(area.width), pixel_y_axis(area.height)
    x, y = wide.x("px"), high.y("py")
    return assemble(
        chart_input,
        area,
        [
            *dots([row for row in rows if not row["_strong"]], x, y),
            *subject_marks([row for row in rows if row["_strong"]], x, y),
            *_names(rows, area),
            *_scale_bar(scale, area),
            *_words(rows, found, area, chart_input),
        ],
    )


def _why(found: _Placed, unit_key: str) -> str:
    return f"It can't be placed: there is {listed(found.lacking.get(unit_key, ['no figure']))}."


def _pixels(places: np.ndarray, area: PlotArea) -> tuple[np.ndarray, float]:
    """Places in pixels and the pixels of one deviation, the same in both directions."""
    low, high = places.min(axis=0), places.max(axis=0)
    field = np.array([area.width, area.height - SCALE_BAR_PX])
    scale = float(np.min((field - 2 * EDGE_PX) / np.maximum(high - low, 1e-9)))
    centred = (places - (low + high) / 2) * scale * [1, -1]
    return np.asarray(centred + field / 2), scale


def _mark(unit: Row, at: np.ndarray, subject: str) -> Row:
    own = bool(subject) and unit["unit_key"] == subject
    return {
        "unit_key": unit["unit_key"], "label": unit["label"], "px": float(at[0]),
        "py": float(at[1]), "technology": unit["technology"] or "not stated", "_strong": own,
        "value_text": "",
    }  # fmt: skip


def _directions(found: _Placed) -> str:
    """In words where each figure grows, by the direction that it grows most in."""
    towards: dict[str, list[str]] = {}
    for title, (across, up) in zip(found.titles, found.map.directions, strict=True):
        ways = ("to the right", "to the left") if abs(across) >= abs(up) else ("upwards", "down")
        growing = across if abs(across) >= abs(up) else up
        towards.setdefault(ways[0] if growing > 0 else ways[1], []).append(lowered(title))
    return "; ".join(f"{way} more {listed(titles)}" for way, titles in sorted(towards.items()))


def _scale_bar(scale: float, area: PlotArea) -> list[alt.Chart]:
    """How far apart units are that differ by one deviation of one figure."""
    right, y = area.width, area.height - 4
    line = [{"px": right - scale, "px2": right, "py": y, "py2": y}]
    return [
        *straight_lines(line, area.width, area.height, theme.INK, 1.6),
        text_mark(SCALE_TEXT, right, y - 8, theme.SMALL_PX, colour=theme.SOFT_INK, align="right"),
    ]


def _names(rows: Sequence[Row], area: PlotArea) -> list[alt.Chart]:
    """Names where there is room, the marked unit's first, then those furthest from the middle."""
    middle = (area.width / 2, area.height / 2)
    order = sorted(rows, key=lambda r: (not r["_strong"],
                                        -math.dist((r["px"], r["py"]), middle)))  # fmt: skip
    texts = [unit_name(row["label"], area.width * 0.3, theme.SMALL_PX, bold=row["_strong"])
             for row in order]  # fmt: skip
    spots = [
        Spot(row["px"], row["py"], 7.0 if row["_strong"] else 4.5,
             text_width(text, theme.SMALL_PX, bold=row["_strong"]))
        for row, text in zip(order, texts, strict=True)
    ]  # fmt: skip
    foot = area.height - SCALE_BAR_PX
    places = beside(spots, 14.0, (area.width, foot))
    return [
        text_mark(text, place[0], place[1] + 5, theme.SMALL_PX, bold=row["_strong"],
                  colour=theme.INK if row["_strong"] else theme.SOFT_INK)
        for row, text, place in zip(order, texts, places, strict=True)
        if place is not None
    ]  # fmt: skip


def _words(
    rows: Sequence[Row], found: _Placed, area: PlotArea, chart_input: ChartInput
) -> list[alt.Chart]:
    """Technologies, what a distance is, and who is left out why."""
    left, y = 0.0, area.height + 26
    drawn: list[alt.Chart] = []
    for name in theme.in_order(row["technology"] for row in rows):
        drawn += [technology_symbol(name, left + 6, y - 5),
                  text_mark(name, left + 18, y, theme.SMALL_PX, colour=theme.SOFT_INK)]  # fmt: skip
        left += 34 + text_width(name, theme.SMALL_PX)
    meaning = MEANING.format(
        figures=counted(len(found.titles), "figure"), shown=number(100 * found.map.shown, 2)
    )
    small = narrow(chart_input)
    texts = ((_directions(found), 5), (meaning, 6), (_left_out(found), 3))
    room, size = area.width, theme.SMALL_PX
    lines = [
        line for text, most in texts for line in wrapped(text, room, size, most if small else 2)
    ]
    return drawn + [text_mark(line, 0, y + 20 + 18 * k, theme.SMALL_PX, colour=theme.SOFT_INK)
                    for k, line in enumerate(lines)]  # fmt: skip


def _left_out(found: _Placed) -> str:
    if not found.lacking:
        return ""
    reasons = Counter(reason for some in found.lacking.values() for reason in some)
    parts = [f"{reason} ({n})" for reason, n in reasons.most_common(3)]
    return f"{counted(len(found.lacking), 'unit')} left out: {', '.join(parts)}"
