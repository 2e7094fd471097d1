"""A sum of harmonics laid out in time, quickly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
BLOCK = 256


def laid_out(amplitudes: Complex, base_hz: float, n: int, rate_hz: float) -> Array:
    """Real part of the sum of amplitudes[k] exp(2 pi i k base_hz t) at n instants.

    amplitudes: shape (k,), from order 0; values in V peak. Each phasor is the product of one at
    the start of a block and one within it, so that the sum is a product of two matrices; orders
    of amplitude 0, which most are where two tones have a low base, are left out of both.
    """
    orders = np.flatnonzero(amplitudes)
    radians = 2 * np.pi * base_hz / rate_hz * orders
    within = np.exp(1j * np.outer(radians, np.arange(BLOCK)))
    starts = amplitudes[orders] * np.exp(1j * np.outer(np.arange(0, n, BLOCK), radians))
    real = np.hstack([starts.real, -starts.imag]) @ np.vstack([within.real, within.imag])
    return np.asarray(real.ravel()[:n], dtype=np.float64)
