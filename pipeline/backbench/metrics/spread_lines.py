"""Hiss beside rectifier buzz whose lines are spread, as the mains wander or a block is lost.

A line that moves by as little as a thousandth is several bins wide at a hundred times the mains,
and what it has there looks like noise. The bins half way between lines then hold less than those
near them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.noise import IdleView
from backbench.signal.quantiles import middle

HIGH_MULTIPLE = 8
"""From which on a line tells of buzz: ripple and stray fields are weak there."""
NEAR = 0.3
"""Distance from a line, re that of two, up to which bins are near it."""
PERHAPS, SURELY = 2.0, 4.0
"""Standard deviations by which the bins near lines hold more, from which the others are read, and
from which that is told."""


class ClearOfBuzz(NamedTuple):
    """Which bins of a band are meant, and a remark where lines are spread."""

    clear: NDArray[np.bool_]
    remark: str | None


def between_lines(idle: IdleView, band: slice, clear: NDArray[np.bool_]) -> ClearOfBuzz:
    """The bins of a band that hold noise alone.

    clear: those that steady lines leave clear. Of lines that are spread, those farthest from them.
    """
    mains_hz = _buzz_hz(idle)
    if mains_hz is None:
        return ClearOfBuzz(clear, None)
    at = (np.arange(band.start, band.stop) * (idle.spectrum.resolution_hz / mains_hz)) % 1.0
    near = np.minimum(at, 1 - at) < NEAR
    power = idle.spectrum.power[band]
    beside, between = power[clear & near], power[clear & ~near]
    if not len(beside) or not len(between):
        return ClearOfBuzz(clear, None)
    ratio = float(middle(beside) / middle(between))
    few = 1 / len(beside) + 1 / len(between)
    # Relative deviation of a median of chi-squared powers, of which a window leaves a share.
    apart = (ratio - 1) / (math.sqrt(few * idle.spectrum.window.spread) / math.log(2))
    if apart < PERHAPS:
        return ClearOfBuzz(clear, None)
    remark = (
        "the lines of rectifier buzz waver or jump, which spreads them: read half way between them"
    )
    return ClearOfBuzz(clear & ~near, remark if apart >= SURELY else None)


def _buzz_hz(idle: IdleView) -> float | None:
    """The mains frequency as found, Hz, where lines of buzz stand out."""
    try:
        lines = idle.hum()
    except (NotApplicable, Refusal):
        return None
    high = [(n, hz) for n, hz, line in lines if n >= HIGH_MULTIPLE and line.surely_stands_out]
    return high[-1][1] / high[-1][0] if high else None
