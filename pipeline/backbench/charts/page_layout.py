"""The sheet of paper: margins, heading, and pieces that several charts are put together from.

The layout is fixed to the pixel (`autosize` none, margins stated), so that the size of a
still is exact and labels can be placed against each other before anything is rendered.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, Self

import altair as alt
import numpy as np

from backbench.charts import theme
from backbench.charts.chart_text import BOLD, wrapped
from backbench.charts.constant_encodings import no_tooltip, x_at, y_at
from backbench.charts.drawing import PAGE, ChartInput, Size

EDGE = 26
NARROW_EDGE = 12
NARROW_PX = 480
"""A picture of less width has a smaller heading on more lines, and smaller margins."""
NARROW_HEADING_PX = 17
NARROW_PLOT_PX = 240.0
NARROW_AXIS_PX, NARROW_END_PX = 60.0, 24.0
"""Margins of a narrow plot: the numbers of an axis at the left, half of the last at the right."""
DIGITS = 7
HALO_PX = 4
LOOK_OF_ROW = {"align": "align", "fontSize": "size", "fontWeight": "weight", "color": "colour"}
"""Properties of a layer of texts, and the columns that they come from."""


@dataclass(frozen=True)
class PlotArea:
    """The plot's own rectangle within the picture; margins in pixels."""

    size: Size
    left: float
    right: float
    top: float
    bottom: float

    @property
    def width(self) -> float:
        """Width of the plot."""
        return self.size.width - self.left - self.right

    @property
    def height(self) -> float:
        """Height of the plot."""
        return self.size.height - self.top - self.bottom

    @property
    def narrow(self) -> bool:
        """Whether the picture is drawn for the width of a phone."""
        return is_narrow(self.size)

    @property
    def paper_left(self) -> float:
        """Where text may begin at the left, in pixels of the plot."""
        return paper_edge(self.size) - self.left

    @property
    def paper_right(self) -> float:
        """Where text must end at the right, in pixels of the plot."""
        return self.width + self.right - paper_edge(self.size)

    def deeper(self, px: float) -> PlotArea:
        """The same plot on paper that reaches further down."""
        size = replace(self.size, height=math.ceil(self.size.height + px))
        return replace(self, size=size, bottom=self.bottom + size.height - self.size.height)


def plot_area(
    chart_input: ChartInput,
    left: float = 84,
    right: float = 190,
    bottom: float = 58,
    above: float = 36,
    tall: float = NARROW_PLOT_PX,
) -> PlotArea:
    """A plot below the heading, with these margins; `above` is room for an axis title.

    tall: the plot's height where the picture's own is left to the chart (Size of height 0).
    """
    type_of = _heading_type(chart_input)
    strong, soft = len(_heading(chart_input)), len(_beneath_heading(chart_input))
    top = 22 + type_of.step * strong + type_of.soft_step * soft + above
    size = chart_input.size
    if not size.height:
        size = replace(size, height=math.ceil(top + tall + bottom))
    return PlotArea(size, left, right, top, bottom)


def curve_area(chart_input: ChartInput, right: float, tall: float = NARROW_PLOT_PX) -> PlotArea:
    """A plot with an axis at the left, and a column of names at the right where there is room."""
    if narrow(chart_input):
        return plot_area(chart_input, left=NARROW_AXIS_PX, right=NARROW_END_PX, tall=tall)
    return plot_area(chart_input, right=right)


def assemble(
    chart_input: ChartInput, area: PlotArea, layers: Sequence[alt.Chart]
) -> alt.LayerChart:
    """The finished chart: heading and layers on paper of exactly the stated size."""
    padding = {
        "left": area.left,
        "right": area.right,
        "top": area.top,
        "bottom": area.bottom,
    }
    # Handed over at once: each change of a layered chart copies all its layers.
    return alt.LayerChart(
        layer=[*_with_texts_together([*heading(chart_input, area), *layers])],
        width=area.width,
        height=area.height,
        padding=padding,
        autosize=alt.AutoSizeParams(type="none"),
        description=" ".join(
            filter(
                None,
                [chart_input.labels.title, chart_input.labels.question, chart_input.labels.note],
            )
        )
        or "chart",
        config=theme.config(),
    )


def heading(chart_input: ChartInput, area: PlotArea) -> list[alt.Chart]:
    """Title, question and conditions, at the top left of the paper."""
    drawn = []
    type_of = _heading_type(chart_input)
    left, y = edge(chart_input) - area.left, 14.0 + type_of.size - area.top
    for line in _heading(chart_input):
        drawn.append(text_mark(line, left, y, type_of.size, bold=True))
        y += type_of.step
    for line in _beneath_heading(chart_input):
        drawn.append(text_mark(line, left, y - 2, colour=theme.SOFT_INK))
        y += type_of.soft_step
    return drawn


def text_mark(
    text: str,
    x: float,
    y: float,
    size: float = theme.TEXT_PX,
    *,
    bold: bool = False,
    colour: str = theme.INK,
    align: Literal["left", "center", "right"] = "left",
    halo: bool = False,
) -> alt.Chart:
    """Text at a place of the plot in pixels; y is the baseline. halo: so that it reads over lines.

    It is drawn by `assemble` alone.
    """
    row = {"text": text, "px": x, "py": y, "size": size, "colour": colour, "align": align,
           "weight": "bold" if bold else "normal", "halo": halo}  # fmt: skip
    return TextMark(alt.InlineData(values=[row]))


def _drawn_texts(marks: Sequence[TextMark]) -> Iterator[alt.Chart]:
    """Many texts as one layer, haloes as one before it: what a picture costs goes by its layers."""
    rows = [row for mark in marks for row in mark.data.values]
    haloed = [row | {"colour": theme.PAPER} for row in rows if row["halo"]]
    if haloed:
        yield _text_layer(haloed, stroke=theme.PAPER, strokeWidth=HALO_PX, aria=False)
    yield _text_layer(rows)


def _text_layer(rows: Sequence[Mapping[str, Any]], **more: Any) -> alt.Chart:
    look: dict[str, Any] = {
        name: alt.ExprRef(f"datum.{column}") for name, column in LOOK_OF_ROW.items()
    }
    mark = layer(rows).mark_text(baseline="alphabetic", clip=False, **look, **more)
    drawn: alt.Chart = mark.encode(
        x=alt.X("px:Q", scale=None, axis=None),
        y=alt.Y("py:Q", scale=None, axis=None),
        text=alt.Text("text:N"),
        tooltip=no_tooltip(),
    )
    return drawn


def _with_texts_together(layers: Iterable[alt.Chart]) -> Iterator[alt.Chart]:
    """The layers in their order, each run of texts as one."""
    for of_texts, run in itertools.groupby(layers, lambda one: isinstance(one, TextMark)):
        if of_texts:
            yield from _drawn_texts([one for one in run if isinstance(one, TextMark)])
        else:
            yield from run


def technology_symbol(technology: str, x: float, y: float) -> alt.Chart:
    """The technology's shape in its colour at a place of the plot in pixels."""
    look = theme.look(technology)
    mark = layer([{}]).mark_point(
        filled=True, size=62, shape=look.shape, color=look.colour, clip=False, opacity=1
    )
    drawn: alt.Chart = mark.encode(x=x_at(x), y=y_at(y), tooltip=no_tooltip())
    return drawn


def message_chart(chart_input: ChartInput, text: str) -> alt.LayerChart:
    """A picture that says why there is nothing to draw."""
    area = plot_area(chart_input, left=EDGE, right=EDGE)
    lines = wrapped(text, area.width, 17, most=4)
    return assemble(
        chart_input, area, [text_mark(s, 0, 30 + 24 * k, 17) for k, s in enumerate(lines)]
    )


class Layer(alt.Chart):
    """A layer that is never changed in place, so that its parts need no copies.

    Altair copies a chart with all its parts at each step, and a layer several times more when it
    is put on a chart.
    """

    def copy(self, deep: bool | Iterable[Any] = True, ignore: list[str] | None = None) -> Self:
        """A copy with the same parts, but for those that are listed in `deep`."""
        return super().copy(deep=False if deep is True else deep, ignore=ignore)


class TextMark(Layer):
    """A text with its place and look in its one row; `assemble` makes a layer of each run."""


def layer(rows: Sequence[Mapping[str, Any]]) -> alt.Chart:
    """A layer over its own rows; numbers to the digits that a picture can show.

    Of few rows a frame is not worth making: a catalogue's pages have some ten thousand layers.
    """
    names = dict.fromkeys(name for row in rows for name in row)
    values = [{name: _drawable(row.get(name)) for name in names} for row in rows]
    return Layer(alt.InlineData(values=values))


def _drawable(value: Any) -> Any:
    """A row's value as a specification holds it."""
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, np.generic):
        return _drawable(value.item())
    if isinstance(value, dt.date):
        return f"{value:%Y-%m-%dT%H:%M:%S}"
    return value


def _heading(chart_input: ChartInput) -> list[str]:
    if not chart_input.labels.title:
        return []
    type_of = _heading_type(chart_input)
    return wrapped(
        chart_input.labels.title, _room(chart_input) / BOLD, type_of.size, type_of.most_lines
    )


def _beneath_heading(chart_input: ChartInput) -> list[str]:
    """Question and conditions; each on two lines at most, in a narrow picture on three."""
    room, most = _room(chart_input), 3 if narrow(chart_input) else 2
    texts = filter(None, (chart_input.labels.question, chart_input.labels.note))
    return [line for text in texts for line in wrapped(text, room, theme.TEXT_PX, most)]


def _room(chart_input: ChartInput) -> float:
    return chart_input.size.width - 2 * edge(chart_input)


def narrow(chart_input: ChartInput) -> bool:
    """Whether the picture is drawn for the width of a phone."""
    return is_narrow(chart_input.size)


def edge(chart_input: ChartInput) -> float:
    """The paper's own margin at the left and the right."""
    return paper_edge(chart_input.size)


def is_narrow(size: Size) -> bool:
    """Whether a picture of this size is drawn for the width of a phone."""
    return size.width < NARROW_PX


def paper_edge(size: Size) -> float:
    """The margin at the left and the right of paper of this size."""
    return NARROW_EDGE if is_narrow(size) else EDGE


@dataclass(frozen=True)
class _HeadingType:
    size: float
    step: float
    soft_step: float
    most_lines: int


def _heading_type(chart_input: ChartInput) -> _HeadingType:
    if narrow(chart_input):
        return _HeadingType(NARROW_HEADING_PX, 22, 18, 6)
    if chart_input.size.width < PAGE.width:
        return _HeadingType(NARROW_HEADING_PX, 22, 18, 3)
    return _HeadingType(theme.HEADING_PX, 26, 20, 2)
