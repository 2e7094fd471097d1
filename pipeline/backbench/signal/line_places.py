"""Whether a line stands where it is read, or another one stands beside it within its lobe."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.signal.spectrum import Spectrum, peak_position
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
    nearest = np.minimum(np.maximum(np.rint(positions).astype(int), half + 1), last - half)
    own = spectrum.power[np.add.outer(nearest, np.arange(-half, half + 1))]
    peaks = nearest - half + own.argmax(axis=1)
    below, power, above = spectrum.power[np.add.outer((-1, 0, 1), peaks)]
    known = (power >= below) & (power >= above) & (power > STANDS_OUT * noise[nearest])
    return np.array([
        stands_out and _is_beside(spectrum, *place)
        for stands_out, *place in zip(
            known.tolist(), peaks.tolist(), positions.tolist(), nearest.tolist(), strict=True
        )
    ])  # fmt: skip


def _is_beside(spectrum: Spectrum, peak: int, position: float, nearest: int) -> bool:
    """Whether the line of a peak isn't at a position and makes what is read there."""
    off = abs(peak_position(spectrum, peak) - position)
    if off <= OFF_BINS:
        return False
    skirt = spectrum.power[peak] * spectrum.window.kernel(np.array([off]))[0] ** 2
    return bool(skirt > MATTERS * spectrum.power[nearest])
