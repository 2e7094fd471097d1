"""Names of curves that lie over each other, each with a piece of its line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt

from backbench.charts import theme
from backbench.charts.chart_text import wrapped
from backbench.charts.curve_layers import DASHES, SHADES
from backbench.charts.label_placement import spread
from backbench.charts.mark_layers import Row, name_labels, pixel_x_axis, pixel_y_axis
from backbench.charts.names_beneath import Named, named_line
from backbench.charts.page_layout import PlotArea
from backbench.charts.small_multiples import straight_lines

UNNAMED = "measured"
"""Output of a curve whose rows name none."""
LINE_PX = 17.0
SAMPLE_PX, INDENT_PX = 29.0, 36.0
Ends = Mapping[str, Mapping[str, float]]
"""Height of each curve's right end in pixels, by series and output."""


@dataclass(frozen=True)
class CurveLook:
    """A curve's shade and dashes."""

    colour: str
    dash: tuple[int, ...]

    @property
    def of_rule(self) -> dict[str, Any]:
        """Properties of a piece of the line."""
        return {"color": self.colour, "strokeDash": list(self.dash)}


def own_look(position: int) -> CurveLook:
    """Curves of one unit by the order that they come in: by dashes, then by shades."""
    shade = SHADES[position // len(DASHES) % len(SHADES)]
    return CurveLook(shade, DASHES[position % len(DASHES)])


def difference_look(position: int) -> CurveLook:
    """Differences of outputs, in the dashes that the outputs have in the curves above."""
    return CurveLook(theme.DARK_GREY, DASHES[position % len(DASHES)])


def curve_looks(outputs: Mapping[str, Sequence[str]]) -> dict[tuple[str, str], CurveLook]:
    """A look for each series and output, no two alike.

    outputs: of each series. Of one or two series the shade says which, ink for the last (the unit
    as it is now), and the dashes say which output; of more, each curve has its own dashes too.
    """
    looks: dict[tuple[str, str], CurveLook] = {}
    known = list(dict.fromkeys(output for own in outputs.values() for output in own))
    few = len(outputs) <= 2
    for k, (series, own) in enumerate(outputs.items()):
        shade = SHADES[len(outputs) - 1 - k if few else k % len(SHADES)]
        for output in own:
            position = known.index(output) if few else len(looks)
            looks[series, output] = CurveLook(shade, DASHES[position % len(DASHES)])
    return looks


def names_of_curves(
    outputs: Mapping[str, Sequence[str]], differences: Sequence[str]
) -> Iterator[Named]:
    """Each curve in a line of its own beneath the plot, then each difference."""
    looks = curve_looks(outputs)
    for (series, output), look in looks.items():
        yield named_line(_whole_name(series, output), **look.of_rule)
    for k, output in enumerate(differences):
        yield named_line(_whole_name("difference", output), **difference_look(k).of_rule)


def _whole_name(series: str, output: str) -> str:
    return series if _is_told(series, output) else f"{series}, {output}"


def _is_told(series: str, output: str) -> bool:
    """Whether a series' name says its output already."""
    return output == UNNAMED or series.endswith(f", {output}")


def names_beside(ends: Ends, area: PlotArea, upper: float) -> list[alt.Chart]:
    """Each series by name beside the right ends of its curves; its outputs beneath, by line."""
    looks = curve_looks({series: list(own) for series, own in ends.items()})
    blocks = {series: _block(series, list(own), area) for series, own in ends.items()}
    deepest = max(len(block) for block in blocks.values())
    wanted = [sum(own.values()) / len(own) for own in ends.values()]
    placed = spread(wanted, LINE_PX * deepest + 15, 12.0, upper - LINE_PX * (deepest - 1) - 10)
    drawn: list[alt.Chart] = []
    for (series, block), top in zip(blocks.items(), placed, strict=True):
        for n, (text, size, output) in enumerate(block):
            look = looks[series, output] if output else None
            drawn += named_piece(text, top + LINE_PX * n, area, look, size)
    return drawn


def _block(series: str, outputs: Sequence[str], area: PlotArea) -> list[tuple[str, float, str]]:
    """Lines of a name: text, size, and the output whose line stands before it."""
    lines = wrapped(series, area.right - 70, theme.TEXT_PX)
    alone = len(outputs) == 1
    block = [(text, float(theme.TEXT_PX), outputs[0] if alone and k == 0 else "")
             for k, text in enumerate(lines)]  # fmt: skip
    if alone:
        told = _is_told(series, outputs[0])
        return block if told else [*block, (outputs[0], float(theme.SMALL_PX), "")]
    return [*block, *((output, float(theme.SMALL_PX), output) for output in outputs)]


def named_piece(
    text: str, y: float, area: PlotArea, look: CurveLook | None, size: float = theme.SMALL_PX
) -> list[alt.Chart]:
    """A text at the right of the plot, after a piece of its line where it has a look."""
    left = area.width + 20
    wide = pixel_x_axis(area.width), pixel_y_axis(area.height)
    row: Row = {"to_x": left + INDENT_PX, "to_y": y, "text": text, "size": size}
    drawn = name_labels([row], *wide)
    if look is None:
        return drawn
    piece = [{"px": left, "px2": left + SAMPLE_PX, "py": y, "py2": y}]
    rule = straight_lines(piece, area.width, area.height, look.colour, 2.4, look.dash)
    return [*rule, *drawn]
