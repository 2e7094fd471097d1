"""What a wide picture says in a column beside its plot, in lines beneath it on a phone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import altair as alt

from backbench.charts import theme
from backbench.charts.chart_text import BOLD, text_width, wrapped
from backbench.charts.constant_encodings import no_tooltip, x2_at, x_at, y2_at, y_at
from backbench.charts.page_layout import PlotArea, layer, text_mark

LINE_PX = 29.0
LEAD_PX = {"": 0.0, "line": LINE_PX + 8, "point": 18.0}
"""Room for the mark before a text, by its kind."""
STEP_PX = 20.0
APART_PX = 16.0
BENEATH_AXIS_PX = 62.0
"""From the foot of a plot to the first line under its axis."""
MOST_LINES = 4


@dataclass(frozen=True)
class Named:
    """A text with the mark that it stands for.

    mark: "" for none, "line" or "point"; look: the properties of that mark.
    """

    text: str
    mark: str = ""
    look: Mapping[str, Any] = field(default_factory=dict)
    bold: bool = False

    @property
    def width(self) -> float:
        """On one line, with its mark."""
        size = theme.TEXT_PX if self.bold else theme.SMALL_PX
        return LEAD_PX[self.mark] + text_width(self.text, size, bold=self.bold)


def named_line(text: str, **look: Any) -> Named:
    """A text with a piece of its line."""
    return Named(text, "line", look)


def named_technology(technology: str, text: str) -> Named:
    """A text with the technology's shape in its colour."""
    look = theme.look(technology)
    return Named(text, "point", {"shape": look.shape, "color": look.colour})


def beneath(
    area: PlotArea, names: Sequence[Named], top: float = BENEATH_AXIS_PX
) -> tuple[PlotArea, list[alt.Chart]]:
    """The names under the plot, from `top` below its foot on; the area with room for them.

    Short ones stand side by side, long ones go on over several lines.
    """
    room = area.paper_right - area.paper_left
    drawn: list[alt.Chart] = []
    y, x = area.height + top, area.paper_left
    begun = False
    for name in names:
        if begun and (name.bold or x + name.width > area.paper_right):
            x, y = area.paper_left, y + STEP_PX
        drawn += _drawn_mark(name, x, y - 4.5)
        x += LEAD_PX[name.mark]
        size = theme.TEXT_PX if name.bold else theme.SMALL_PX
        fitting = (room - LEAD_PX[name.mark]) / (BOLD if name.bold else 1)
        lines = wrapped(name.text, fitting, size, MOST_LINES)
        for k, text in enumerate(lines):
            colour = theme.INK if name.bold or name.mark else theme.SOFT_INK
            drawn.append(text_mark(text, x, y, size, bold=name.bold, colour=colour))
            y += STEP_PX if k < len(lines) - 1 else 0.0
        x += text_width(lines[-1], size) + APART_PX if lines else 0.0
        if name.bold or len(lines) > 1:
            x = area.paper_right
        begun = True
    needed = y - area.height + 14 if names else 0.0
    return area.deeper(max(needed - area.bottom, 0.0)), drawn


def _drawn_mark(name: Named, left: float, y: float) -> list[alt.Chart]:
    if name.mark == "line":
        mark = layer([{}]).mark_rule(**{"strokeWidth": 2.4, **name.look})
        ends = {"x": x_at(left), "x2": x2_at(left + LINE_PX)}
        return [mark.encode(**ends, y=y_at(y), y2=y2_at(y), tooltip=no_tooltip())]
    if name.mark == "point":
        point = layer([{}]).mark_point(
            **{"filled": True, "size": 62, "opacity": 1, "clip": False, **name.look}
        )
        return [point.encode(x=x_at(left + 6), y=y_at(y), tooltip=no_tooltip())]
    return []
