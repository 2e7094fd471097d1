"""The noise under and between the lines of a spectrum."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

RATIO = 2 ** (1 / 3)
LEAST_BINS = 24
MOST_SORTED = 1500
_TINY = 1e-300


def background(power: Array, free: NDArray[np.bool_], top: int) -> Array:
    """Mean noise power by bin, V^2, for bins 0 to top - 1; lines do not pull it up.

    power: V^2 by bin. free: True where a bin is known to be clear of lines.
    Third-octave segments (24 free bins at least) give a median each, which for noise
    (chi-squared of two degrees of freedom) is ln 2 of the mean; between the middles of the
    segments the logarithm is interpolated. Raises ValueError where no bin is free.
    """
    index = np.flatnonzero(free[:top])
    if not len(index):
        raise ValueError("no bin is free of lines")
    centres, levels = [], []
    for first, last in _segments(index):
        step = max(1, (last - first) // MOST_SORTED)
        chosen = index[first:last:step]
        centres.append(float(index[first] + index[last - 1]) / 2)
        levels.append(float(np.median(power[chosen])) / np.log(2))
    logs = np.log(np.maximum(levels, _TINY))
    found: Array = np.exp(np.interp(np.arange(top), centres, logs))
    return found


def _segments(index: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Ranges into the free bins, each a third of an octave or 24 bins wide, the wider."""
    found: list[tuple[int, int]] = []
    first, count = 0, len(index)
    while first < count:
        last = int(np.searchsorted(index, max(index[first], 1) * RATIO))
        last = max(last, first + LEAST_BINS)
        if count - last < LEAST_BINS:
            last = count
        found.append((first, last))
        first = last
    return found
