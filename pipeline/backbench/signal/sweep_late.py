"""Clicks after a sweep has passed, which lie in the window of its response.

The window goes on for as long as low frequencies ring. Higher ones are silent by then: what stands
out of the noise there in single samples comes from elsewhere.
"""

from __future__ import annotations

import numpy as np

from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.track import Array

SETTLED_S = 0.005
"""After the sweep's end, when nothing rings any more at frequencies whose samples differ much."""
STANDS_OUT = 12.0
"""Times the median size of a second difference: 8 standard deviations of noise, which reaches them
once in 1e15 samples."""
OF_A_SAMPLE = 6.0
"""Sum of the squares of the second differences that one sample makes: 1, -2, 1."""


def late_clicks(sent: PlayedSweep, recorded: Array, arrival_s: float) -> Array:
    """Magnitude of what clicks after the sweep's end may add to a response, on the grid.

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
        Re what was played, >= 0; 0 where nothing stands out, and at frequencies whose window ends
        before the first click.
    """
    first = max(round((sent.over_s + arrival_s + SETTLED_S) * sent.rate_hz), 0)
    sizes = np.abs(np.diff(recorded[first:], 2))
    usual = float(np.median(sizes)) or float(sizes.mean()) if len(sizes) else 0.0
    out = np.flatnonzero(sizes > STANDS_OUT * usual)
    if not len(out):
        return np.zeros(len(sent.grid))
    volts = float(np.sqrt(np.square(sizes[out]).sum() / OF_A_SAMPLE))
    late_s = (first + int(out[0]) + 1) / sent.rate_hz - arrival_s - sent.passed_s(sent.grid)
    return np.where(late_s < sent.after_s, volts / np.sqrt(sent.grid_density), 0.0)
