"""What the values of a table say of its kind where its headings leave it open."""

from __future__ import annotations

import numpy as np

from backbench.signal.track import Array

LEAST_BINS = 200
EVEN = 0.2
STANDING_DB = 30.0
"""A line of a spectrum stands so far above the median of its bins: common practice, no source."""
MOST_HARMONICS = 20


def even_steps(hz: Array) -> bool:
    """Whether frequencies rise in even steps, as those of a transform do."""
    if len(hz) < LEAST_BINS:
        return False
    step = float(hz[-1] - hz[0]) / (len(hz) - 1)
    return step > 0 and bool(np.abs(hz - np.linspace(hz[0], hz[-1], len(hz))).max() < EVEN * step)


def strongest_hz(hz: Array, decibels: Array) -> float | None:
    """The strongest line of a spectrum, 0 Hz and its neighbours left out; None without one."""
    inside = np.arange(len(hz)) > 5
    top = int(np.argmax(np.where(inside, decibels, -np.inf)))
    if decibels[top] - float(np.median(decibels)) < STANDING_DB:
        return None
    return float(f"{hz[top]:.4g}")


def fundamental_hz(values: dict[str, Array]) -> float | None:
    """The frequency of which a table of harmonics has the multiples; None where it isn't known."""
    if not values.keys() >= {"order", "frequency"} or not (values["order"] > 0).all():
        return None
    each = values["frequency"] / values["order"]
    tone = float(np.median(each))
    return float(f"{tone:.5g}") if np.abs(each / tone - 1).max() < 0.01 else None


def multiples(hz: Array) -> bool:
    """Whether a few frequencies are the first one and its multiples, one after another."""
    if not 3 <= len(hz) <= MOST_HARMONICS or hz[0] <= 0:
        return False
    return bool(np.abs(hz / hz[0] - np.arange(1, len(hz) + 1)).max() < 0.01)
