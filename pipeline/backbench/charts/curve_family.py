"""A unit's curves by the setting of a control, each named on its line."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence

import altair as alt
import numpy as np

from backbench.charts import theme
from backbench.charts.axis import Axis, axis, frequency_axis
from backbench.charts.chart_text import shortened, text_width
from backbench.charts.constant_encodings import coloured, no_tooltip
from backbench.charts.declaration import Option, chart
from backbench.charts.drawing import ChartInput
from backbench.charts.mark_layers import GROUP, SAYER, Row
from backbench.charts.overlaid_curves import curve_line, ground, numbers, with_unit
from backbench.charts.overlaid_names import own_look
from backbench.charts.page_layout import (
    PlotArea,
    assemble,
    curve_area,
    layer,
    message_chart,
    text_mark,
)
from backbench.charts.small_multiples import pixel_encodings
from backbench.quantities.sentences import lowered
from backbench.quantities.writing import COVERAGE, quantity

COLUMNS = ("unit_key", "label", "setting", "output", "x", "y")
ACROSS = Option("across", ("frequency", "level"), "what the curves run over")
SIDE_PX = 44.0
NAME_PX = theme.SMALL_PX
PLACES = 120
"""Places along a curve that are tried for its name."""
CLEAR_PX = 60.0
"""Room to other curves beyond which more doesn't help."""
ON_A_NAME = 100.0
"""How much worse a place is at which another name stands: worse than any that is crowded."""
LEAST_REACH_DB = 0.4
Family = Mapping[tuple[str, str], Sequence[Row]]
Pixels = np.ndarray


def _family(chart_input: ChartInput) -> Family:
    """Rows by setting and output, in the order of the rows; those without numbers left out."""
    family: dict[tuple[str, str], list[Row]] = {}
    over_frequency = chart_input.options["across"] == "frequency"
    for row in chart_input.frame.to_dicts():
        drawn = row["x"] is not None and row["y"] is not None
        if drawn and (row["x"] > 0 or not over_frequency):
            family.setdefault((row["setting"], row["output"] or ""), []).append(row)
    return family


def _finding(chart_input: ChartInput) -> str:
    """How far apart the settings lie, and where; or that they don't beyond the uncertainty."""
    rows = [row for line in _family(chart_input).values() for row in line]
    if not rows:
        return ""
    whose = f"{rows[0]['label']}: {lowered(chart_input.labels.title_of('y'))}"
    low, high = _farthest(rows, together=chart_input.options["across"] == "level")
    apart = high["y"] - low["y"]
    if apart <= math.hypot(_reach(low), _reach(high)):
        return f"{whose} differs by no more than the uncertainty"
    span = quantity(apart, chart_input.labels.unit_of("y"))
    if chart_input.options["across"] == "level":
        return f"{whose} moves by {span} from {low['setting']} to {high['setting']}"
    at = quantity(low["x"], chart_input.labels.unit_of("x"))
    return f"{whose} differs by up to {span}, at {at}"


def _farthest(rows: Sequence[Row], *, together: bool) -> tuple[Row, Row]:
    """The two rows farthest apart: of all together, or at one place of the abscissa."""
    at: dict[float, list[Row]] = {}
    for row in rows:
        at.setdefault(0.0 if together else row["x"], []).append(row)
    ends = [(min(same, key=_value), max(same, key=_value)) for same in at.values()]
    return max(ends, key=lambda pair: _value(pair[1]) - _value(pair[0]))


def _value(row: Row) -> float:
    return float(row["y"])


@chart("family", COLUMNS, ("y_u",), (ACROSS,), finding=_finding)
def family(chart_input: ChartInput) -> alt.LayerChart:
    """Curves of one unit by the setting of a control, in the order of the rows.

    `setting` stands on its line. A setting with one row is a dot, with a bar where y_u, the
    standard uncertainty of y, is known.
    """
    lines = _family(chart_input)
    if not lines:
        return message_chart(chart_input, "No unit has curves at two settings of a control yet.")
    area = curve_area(chart_input, right=SIDE_PX)
    x_axis, y_axis = _axes(chart_input, list(itertools.chain(*lines.values())), area)
    placed = {key: _pixels(line, x_axis, y_axis) for key, line in lines.items()}
    layers = [
        *ground(x_axis, y_axis, area, 0.0, area.height),
        text_mark(with_unit(chart_input, "y"), area.paper_left, -16, colour=theme.SOFT_INK),
        *_drawn(lines, x_axis, y_axis, area),
        *_names(placed, area),
        *numbers(x_axis, area),
        text_mark(with_unit(chart_input, "x"), area.width / 2, area.height + 44,
                  colour=theme.SOFT_INK, align="center"),
    ]  # fmt: skip
    return assemble(chart_input, area, layers)


def _axes(chart_input: ChartInput, rows: Sequence[Row], area: PlotArea) -> tuple[Axis, Axis]:
    x = [row["x"] for row in rows]
    if chart_input.options["across"] == "frequency":
        x_axis = frequency_axis(x, 0.0, area.width)
    else:
        x_axis = axis([min(x) - 3, max(x) + 3], 0.0, area.width, chart_input.labels.unit_of("x"))
    ends = [row["y"] + side * _reach(row) for row in rows for side in (-1, 1)]
    if max(ends) - min(ends) < LEAST_REACH_DB:
        middle = (max(ends) + min(ends)) / 2
        ends += [middle - LEAST_REACH_DB / 2, middle + LEAST_REACH_DB / 2]
    return x_axis, axis(ends, area.height, 0.0, chart_input.labels.unit_of("y"))


def _reach(row: Row) -> float:
    return COVERAGE * (row.get("y_u") or 0.0)


def _pixels(line: Sequence[Row], x_axis: Axis, y_axis: Axis) -> Pixels:
    """Places of a curve, one column each for left and top."""
    return np.array([[x_axis.px(r["x"]), y_axis.px(y_axis.clamped(r["y"]))] for r in line])


def _drawn(lines: Family, x_axis: Axis, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    layers: list[alt.Chart] = []
    for position, ((setting, output), line) in enumerate(lines.items()):
        if len(line) == 1:
            layers += _dot(line[0], x_axis, y_axis, area)
            continue
        ordered = sorted(line, key=lambda row: row["x"])
        x, y = (np.array([row[name] for row in ordered], dtype=float) for name in ("x", "y"))
        look = own_look(position)
        names = {SAYER: f"{setting}, {output}" if output else setting, GROUP: setting}
        curve = (x, y, y * math.nan)
        layers.append(
            curve_line(curve, x_axis, y_axis, area, colour=look.colour, dash=look.dash, names=names)
        )
    return layers


def _dot(row: Row, x_axis: Axis, y_axis: Axis, area: PlotArea) -> list[alt.Chart]:
    x, y, _, y2 = pixel_encodings(area.width, area.height)
    ends = [y_axis.px(y_axis.clamped(row["y"] + side * _reach(row))) for side in (-1, 1)]
    at = {"px": x_axis.px(row["x"]), "py": y_axis.px(row["y"])}
    bar = layer([at | {"py": ends[0], "py2": ends[1]}]).mark_rule(strokeWidth=2)
    dot = layer([at]).mark_circle(size=70, opacity=1)
    look = {"color": coloured(theme.INK), "tooltip": no_tooltip()}
    return [bar.encode(x=x, y=y, y2=y2, **look), dot.encode(x=x, y=y, **look)]


def _names(placed: Mapping[tuple[str, str], Pixels], area: PlotArea) -> list[alt.Chart]:
    """Each setting once, beside its line where that is farthest from every other."""
    marks: list[alt.Chart] = []
    taken: list[Pixels] = []
    named: set[str] = set()
    for (setting, output), own in placed.items():
        if setting in named:
            continue
        named.add(setting)
        text = shortened(setting, area.width / 2, NAME_PX)
        others = [p for key, p in placed.items() if key != (setting, output)]
        left, top = _place(own, [*map(_dense, others)], taken, text_width(text, NAME_PX), area)
        taken.append(_corners(left, top, text_width(text, NAME_PX)))
        marks.append(text_mark(text, left, top + NAME_PX, NAME_PX, halo=True))
    return marks


def _place(
    own: Pixels, others: Iterable[Pixels], taken: Sequence[Pixels], width: float, area: PlotArea
) -> tuple[float, float]:
    """Left and top of a name beside its own curve, away from all else, on no other name."""
    if len(own) == 1:
        return _beside_dot(float(own[0, 0]) + 12, float(own[0, 1]) - NAME_PX / 2, taken, width)
    along = _dense(own)
    rest = [part for part in others if len(part)]
    crowd = np.concatenate(rest) if rest else np.full((1, 2), -1e6)
    names = np.concatenate(taken) if taken else np.full((1, 2), -1e6)
    best, found = -math.inf, (0.0, 0.0)
    for x, y in along:
        left = min(max(x - width / 2, 4.0), area.width - width - 4.0)
        for top in (y - NAME_PX - 7, y + 7):
            if not 0 <= top <= area.height - NAME_PX:
                continue
            box = _corners(left, top, width)
            gap, own_gap = _least_distance(box, crowd), _least_distance(box, along)
            apart = _least_distance(box, names)
            score = min(gap, apart, CLEAR_PX) + 8 * min(own_gap, 5.0)
            score -= ON_A_NAME * (apart < NAME_PX)
            if score > best:
                best, found = score, (left, top)
    return found


def _beside_dot(
    left: float, middle: float, taken: Sequence[Pixels], width: float
) -> tuple[float, float]:
    """At the right of a dot, as little higher or lower as keeps it off the other names."""
    steps = [middle + side * k * (NAME_PX + 4) for k in range(len(taken) + 2) for side in (1, -1)]
    free = (
        top for top in steps
        if all(_least_distance(_corners(left, top, width), name) >= NAME_PX / 2 for name in taken)
    )  # fmt: skip
    return left, next(free, middle)


def _corners(left: float, top: float, width: float) -> Pixels:
    """Places within a name's box, every few pixels."""
    across = np.linspace(left, left + width, max(3, int(width / 8)))
    down = np.linspace(top, top + NAME_PX + 2, 3)
    return np.array([(a, b) for a in across for b in down])


def _dense(curve: Pixels) -> Pixels:
    """A curve at evenly spread places; a single place as it is."""
    if len(curve) == 1:
        return curve
    curve = curve[np.argsort(curve[:, 0])]
    x = np.linspace(curve[0, 0], curve[-1, 0], PLACES)
    return np.column_stack((x, np.interp(x, curve[:, 0], curve[:, 1])))


def _least_distance(one: Pixels, other: Pixels) -> float:
    across, down = (one[:, k, None] - other[:, k] for k in (0, 1))
    return float(np.sqrt((across * across + down * down).min()))
