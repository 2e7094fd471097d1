"""Outlines of point marks by their name and area, as the renderer draws them."""

from __future__ import annotations

import math
from functools import cache

from backbench.charts.svg_elements import px

TALL = math.sqrt(3) / 2
"""Height of a triangle's middle above its base, in halves of its width."""
CORNERS = {
    "diamond": ((-1, 0), (0, -1), (1, 0), (0, 1)),
    "triangle-up": ((0, -TALL), (-1, TALL), (1, TALL)),
    "triangle-down": ((0, TALL), (-1, -TALL), (1, -TALL)),
    "triangle-right": ((TALL, 0), (-TALL, -1), (-TALL, 1)),
    "triangle-left": ((-TALL, 0), (TALL, -1), (TALL, 1)),
    "stroke": ((-1, 0), (1, 0)),
    "cross": ((-1, -0.4), (-1, 0.4), (-0.4, 0.4), (-0.4, 1), (0.4, 1), (0.4, 0.4), (1, 0.4),
              (1, -0.4), (0.4, -0.4), (0.4, -1), (-0.4, -1), (-0.4, -0.4)),
}  # fmt: skip
"""Corners in halves of the width."""


@cache
def symbol_path(shape: str, area: float) -> str | None:
    """The path of a shape around its middle; None of one that isn't known.

    area: in square pixels, of the square that a circle stands in.
    """
    half = math.sqrt(area) / 2
    r, wide = px(half), px(2 * half)
    if shape == "square":
        return f"M-{r},-{r}h{wide}v{wide}h-{wide}Z"
    if shape == "circle":
        return f"M{r},0A{r},{r},0,1,1,-{r},0A{r},{r},0,1,1,{r},0"
    corners = CORNERS.get(shape)
    if corners is None:
        return None
    path = "L".join(f"{px(half * x)},{px(half * y)}" for x, y in corners)
    return f"M{path}" + "Z" * (len(corners) > 2)
