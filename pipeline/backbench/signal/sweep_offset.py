"""A steady voltage that is another before a sweep than after it: it jumped, or moved."""

from __future__ import annotations

import math

import numpy as np

from backbench.signal.quantiles import middle
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_late import SETTLED_S
from backbench.signal.track import Array

PARTS = 8
"""Parts of what lies before the sweep, and after it, whose means scatter."""
LEAST_PART = 64
"""Samples of a part."""
SURELY = 4.0
"""Times how far the means usually lie from the middle one, beyond which the steady voltage moved:
where noise alone moves them, once in 2300 records (by simulation)."""


def moved_offset(sent: PlayedSweep, recorded: Array, arrival_s: float) -> Array:
    """Magnitude of what a jump of the steady voltage may add to a response, on the grid.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    recorded : ndarray of float64, shape (m,)
        V.
    arrival_s : float
        Delay of the output, s.

    Returns
    -------
    ndarray of float64, shape (g,)
        Re what was played, >= 0; 0 where the voltage holds, or too little was recorded beside the
        sweep to tell.

    Notes
    -----
    Closed form: a step V has the spectrum V / (2 pi f). Where in the sweep it lay isn't known, so
    that it may be in the window of any frequency.
    """
    begun = sent.middle_s - sent.sweep.duration_s / 2 + arrival_s - SETTLED_S
    over = sent.over_s + arrival_s + SETTLED_S
    before = _level(recorded[: max(round(begun * sent.rate_hz), 0)])
    after = _level(recorded[max(round(over * sent.rate_hz), 0) :])
    volts = abs(after[0] - before[0])
    if not volts > SURELY * math.hypot(before[1], after[1]):
        return np.zeros(len(sent.grid))
    step = volts * sent.rate_hz / (2 * np.pi * sent.grid)
    return np.asarray(step / np.sqrt(sent.grid_density))


def _level(beside: Array) -> tuple[float, float]:
    """The middle of the parts' means and how far they usually lie from it, V; not a number where
    there is too little. The voltage may jump within a part."""
    size = len(beside) // PARTS
    if size < LEAST_PART:
        return math.nan, math.nan
    means = beside[: PARTS * size].reshape(PARTS, size).mean(axis=1)
    level = float(middle(means))
    return level, float(middle(np.abs(means - level)))
