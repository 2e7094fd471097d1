"""What of one output's signal appears at its neighbour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
REFERENCE_HZ = 1000.0


def leaked(neighbour: Complex, base_hz: float, part: float) -> Complex:
    """A capacitive leak: in quadrature, rising with frequency, `part` at 1 kHz."""
    ratio = base_hz * np.arange(len(neighbour)) / REFERENCE_HZ
    return np.asarray(1j * part * ratio * neighbour, dtype=np.complex128)
