"""A strip of peers with one unit marked: where a value lies among others, drawn small.

Only numbers are worked out here; the page template draws them. Positions are in the strip's own
pixels, WIDTH by HEIGHT.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from backbench.quantities.writing import quantity

WIDTH, HEIGHT, EDGE = 240.0, 20.0, 8.0
DECADES = 1.0
"""A strip whose values span more than this many powers of ten is logarithmic."""


@dataclass(frozen=True)
class PeerStrip:
    """Peers as an SVG path of dots, the unit's mark and its expanded uncertainty, the ends."""

    path: str
    x: float
    low: float
    high: float
    least: str
    greatest: str
    logarithmic: bool
    bound: str | None


def peer_strip(
    peers: Sequence[float], value: float, uncertainty: float | None, unit: str, bound: str | None
) -> PeerStrip | None:
    """The strip of a value among its peers (the unit itself left out); None without peers."""
    if not peers:
        return None
    spread = 2 * (uncertainty or 0.0)
    low, high = value - spread, value + spread
    ends = min(*peers, value), max(*peers, value)
    scale = _scale(*ends)
    dots = sorted({round(scale.at(peer), 1) for peer in peers})
    middle = HEIGHT / 2
    return PeerStrip(
        path="".join(f"M{x:g} {middle:g}h0" for x in dots),
        x=round(scale.at(value), 1),
        low=round(scale.at(low), 1),
        high=round(scale.at(high), 1),
        least=quantity(ends[0], unit),
        greatest=quantity(ends[1], unit),
        logarithmic=scale.logarithmic,
        bound=bound,
    )


@dataclass(frozen=True)
class _Scale:
    least: float
    greatest: float
    logarithmic: bool

    def at(self, value: float) -> float:
        """Pixels from the left, held within the strip."""
        if self.logarithmic:
            value = math.log10(max(value, 1e-300))
        span = self.greatest - self.least
        part = (value - self.least) / span if span else 0.5
        return EDGE + (WIDTH - 2 * EDGE) * min(max(part, -0.02), 1.02)


def _scale(least: float, greatest: float) -> _Scale:
    logarithmic = least > 0 and math.log10(greatest / least) > DECADES
    if logarithmic:
        return _Scale(math.log10(least), math.log10(greatest), True)
    return _Scale(least, greatest, False)
