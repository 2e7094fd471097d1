"""The longest steady stretch of a recording: between silence, clicks and changes of level."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.track import Array

BLOCK_S = 0.1
WITHIN = 0.03
"""Levels of blocks that differ by less are one level: a part period of 50 Hz stays within it."""
CLICK = 1.25
"""Peak of a block, re that of a sine of its stretch's level, from which it holds a click."""
SILENCE = 0.02
"""Of the loudest stretch: what is fainter is no tone."""


class Stretch(NamedTuple):
    """Samples first to last (beyond the end) of one level, rms re full scale."""

    first: int
    last: int
    rms: float


def steady_stretches(samples: Array, rate_hz: float) -> list[Stretch]:
    """Stretches of one level in the strongest track of samples (n, tracks), the longest first."""
    centred = samples - np.median(samples, axis=0)
    strongest = centred[:, int(np.argmax(np.square(centred).sum(axis=0)))]
    size = max(round(BLOCK_S * rate_hz), 1)
    blocks = strongest[: len(strongest) // size * size].reshape(-1, size)
    if not len(blocks):
        return []
    levels, peaks = np.sqrt(np.mean(np.square(blocks), axis=1)), np.abs(blocks).max(axis=1)
    loud = levels >= SILENCE * levels.max()
    usable = loud & (peaks < CLICK * math.sqrt(2) * levels)
    found: list[Stretch] = []
    start = 0
    for n in range(len(blocks) + 1):
        both = n < len(blocks) and usable[n] and usable[start]
        if both and abs(levels[n] - levels[start]) < WITHIN * levels[start]:
            continue
        if usable[start] and n > start:
            rms = float(np.sqrt(np.mean(np.square(levels[start:n]))))
            found.append(Stretch(start * size, n * size, rms))
        start = n
    return sorted(found, key=lambda one: one.first - one.last)
