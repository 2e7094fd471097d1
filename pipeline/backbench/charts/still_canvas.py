"""Pictures on a canvas of a still's exact size: beside or over each other, as large as they go."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass

from backbench.charts import theme
from backbench.charts.dark_theme import DARK
from backbench.charts.drawing import Size
from backbench.charts.image_export import STILL
from backbench.charts.pixels import png_of

COLOUR = re.compile(r'(fill|stroke)="(#[0-9a-f]{6})"')
GROUND = re.compile(rf'<rect width="[\d.]+" height="[\d.]+" fill="{theme.PAPER}"\s*/>')
NAMED = re.compile(r'(\bid="|url\(#)')
CLIPPING = ' clip-path="url(#plot)"'
CLIPPED = re.compile(rf"(?:<g [^>]*{re.escape(CLIPPING)}>[^<]*(?:<(?!/?g[ >])[^<]*)*</g>){{2,}}")
MARGIN = 0.02
"""Of the canvas's smaller side, kept free around and between pictures."""


@dataclass(frozen=True)
class Canvas:
    """What stills are drawn for. transparent: without a ground, to be laid over a picture."""

    size: Size = STILL
    dark: bool = False
    transparent: bool = False

    @property
    def wide(self) -> bool:
        """Whether a picture as it is drawn for a page fits its proportions."""
        return self.size.width > 1.5 * self.size.height

    @property
    def upright(self) -> bool:
        """Whether there is room for two pictures over each other."""
        return self.size.height > 1.5 * self.size.width


@dataclass(frozen=True)
class Placed:
    """Where pictures of a size lie: their scale, and the corner of each."""

    scale: float
    corners: tuple[tuple[float, float], ...]


def still_png(drawn: Sequence[tuple[str, Size]], canvas: Canvas) -> bytes:
    """A PNG of exactly the canvas's size. drawn: each picture's SVG with its size."""
    return png_of(still_svg(drawn, canvas))


def still_svg(drawn: Sequence[tuple[str, Size]], canvas: Canvas) -> str:
    """The same as one SVG picture."""
    size = canvas.size
    colour = DARK[theme.PAPER] if canvas.dark else theme.PAPER
    ground = "" if canvas.transparent else (
        f'<rect width="{size.width}" height="{size.height}" fill="{colour}"/>'
    )  # fmt: skip
    place = placed([own for _, own in drawn], size)
    parts = [
        _nested(svg, own, corner, place.scale, key, canvas)
        for key, ((svg, own), corner) in enumerate(zip(drawn, place.corners, strict=True))
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size.width}" height="{size.height}">'
        f"{ground}{''.join(parts)}</svg>"
    )


def placed(sizes: Sequence[Size], canvas: Size) -> Placed:
    """Pictures in a row or in a column, whichever shows them larger, in the canvas's middle.

    One picture of the canvas's own proportions fills it; margins are kept around others.
    """
    if len(sizes) == 1 and sizes[0].width * canvas.height == sizes[0].height * canvas.width:
        return Placed(canvas.width / sizes[0].width, ((0.0, 0.0),))
    margin = MARGIN * min(canvas.width, canvas.height)
    free = (canvas.width - 2 * margin, canvas.height - 2 * margin)
    widths, heights = [s.width for s in sizes], [s.height for s in sizes]
    gaps = margin * (len(sizes) - 1)
    row = min((free[0] - gaps) / sum(widths), free[1] / max(heights))
    column = min(free[0] / max(widths), (free[1] - gaps) / sum(heights))
    scale = max(row, column)
    if row >= column:
        starts = _starts([w * scale for w in widths], margin, canvas.width)
        top = (canvas.height - max(heights) * scale) / 2
        return Placed(scale, tuple((left, top) for left in starts))
    starts = _starts([h * scale for h in heights], margin, canvas.height)
    return Placed(scale, tuple(((canvas.width - w * scale) / 2, start)
                               for w, start in zip(widths, starts, strict=True)))  # fmt: skip


def _starts(lengths: Sequence[float], gap: float, room: float) -> list[float]:
    """Where lengths begin that lie one after the other in the middle of the room."""
    first = (room - sum(lengths) - gap * (len(lengths) - 1)) / 2
    return [*itertools.accumulate((length + gap for length in lengths[:-1]), initial=first)]


def _nested(
    svg: str, size: Size, corner: tuple[float, float], scale: float, key: int, canvas: Canvas
) -> str:  # fmt: skip
    """A picture as a part of another: without its ground, its colours the canvas's."""
    bare = GROUND.sub("", NAMED.sub(rf"\g<1>k{key}-", _clipped_once(svg)), count=1)
    if canvas.dark:
        bare = COLOUR.sub(lambda found: f'{found[1]}="{DARK.get(found[2], found[2])}"', bare)
    body = bare[bare.index(">") + 1 : bare.rindex("</svg>")]
    left, top = (round(place, 3) for place in corner)
    moved = f"translate({left},{top}) scale({round(scale, 6)})"
    return f'<g transform="{moved}">{body}</g>'


def _clipped_once(svg: str) -> str:
    """Groups after one another that are clipped alike as one: each takes a layer of pixels."""
    return CLIPPED.sub(lambda found: f"<g{CLIPPING}>{found[0].replace(CLIPPING, '')}</g>", svg)
