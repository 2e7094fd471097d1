"""Whether a line stands where it is read, or another one stands beside it within its lobe."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.signal.spectrum import Spectrum, peak_positions
from backbench.signal.track import Array

OFF_BINS = 0.25
"""Five standard deviations of the place of a line that stands out so far."""
STANDS_OUT = 100.0
"""Times the noise."""
MATTERS = 0.01
"""Share of what is read at a place that the skirt of a line beside it may have."""


def off_place(spectrum: Spectrum, noise: Array, positions: Array) -> NDArray[np.bool_]:
    """Whether what is read at places is a line that stands beside them.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    positions : ndarray of float64, shape (k,)
        Where lines are read, fractional bins.

    Returns
    -------
    ndarray of bool, shape (k,)
        False where no line stands out far enough for its place to be known.
    """
    if not len(positions):
        return np.zeros(0, dtype=bool)
    half, last = spectrum.window.half_width, len(noise) - 2
    nearest = np.clip(np.rint(positions).astype(int), half + 1, last - half)
    around = nearest[:, None] + np.arange(-half, half + 1)
    peaks = around[np.arange(len(nearest)), spectrum.power[around].argmax(axis=1)]
    power = spectrum.power[peaks]
    is_peak = (power >= spectrum.power[peaks - 1]) & (power >= spectrum.power[peaks + 1])
    off = np.abs(peak_positions(spectrum, peaks) - positions)
    skirt = power * np.square(spectrum.window.kernel(off))
    known = is_peak & (power > STANDS_OUT * noise[nearest])
    shown = skirt > MATTERS * spectrum.power[nearest]
    beside: NDArray[np.bool_] = known & (off > OFF_BINS) & shown
    return beside
