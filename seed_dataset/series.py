"""A sum of harmonics laid out in time, quickly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
BLOCK = 256


def laid_out(amplitudes: Complex, base_hz: float, n: int, rate_hz: float) -> Array:
    """Real part of the sum of amplitudes[k] exp(2 pi i k base_hz t) at n instants.

    amplitudes: shape (k,), from order 0; values in V peak. Horner's scheme in the phasor of
    the base, so that one exponential serves every order.
    """
    phasor = _phasor(base_hz / rate_hz, n)
    total = np.zeros(n, dtype=np.complex128)
    for amplitude in amplitudes[::-1]:
        total *= phasor
        total += amplitude
    return np.ascontiguousarray(total.real)


def _phasor(turns: float, n: int) -> Complex:
    """exp(2 pi i turns m) for m = 0 … n - 1, as a product of coarse and fine steps."""
    fine = np.exp(2j * np.pi * turns * np.arange(BLOCK))
    coarse = np.exp(2j * np.pi * turns * BLOCK * np.arange(-(-n // BLOCK)))
    return np.asarray(np.outer(coarse, fine).ravel()[:n], dtype=np.complex128)
