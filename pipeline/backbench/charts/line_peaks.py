"""Where a drawn line has a peak or a dip that nothing may hide."""

from __future__ import annotations

from collections.abc import Sequence

Point = tuple[float, float]
PROMINENT_PX = 8.0
"""So far a line must fall to both sides of a peak."""


def line_peaks(points: Sequence[Point]) -> list[Point]:
    """The peaks and dips of a line in pixels, from left to right each."""
    return [*_extremes(points, 1.0), *_extremes(points, -1.0)] if len(points) > 2 else []


def _extremes(points: Sequence[Point], sign: float) -> list[Point]:
    """Points from which a line falls by PROMINENT_PX to both sides before it rises above them."""
    found: list[Point] = []
    highest, lowest, rising = points[0], points[0], False
    for point in points[1:]:
        if sign * (highest[1] - point[1]) > 0:
            highest = point
        if sign * (point[1] - lowest[1]) > 0:
            lowest = point
        if rising and sign * (point[1] - highest[1]) > PROMINENT_PX:
            found.append(highest)
            rising, lowest = False, point
        elif not rising and sign * (lowest[1] - point[1]) > PROMINENT_PX:
            rising, highest = True, point
    return found
