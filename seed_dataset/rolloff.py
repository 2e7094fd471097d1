"""Roll-offs of couplings, transformers and feedback loops, as exact frequency responses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Array = NDArray[np.float64]
REFERENCE_HZ = 1000.0


@dataclass(frozen=True)
class RollOff:
    """High-pass corners (first order each) before and after the nonlinearity, and a
    second-order low-pass of corner `high_hz` and quality `high_q` after it.

    A corner of 0 means coupled for DC. Responses are 1 in magnitude at 1 kHz.
    """

    input_hz: float
    output_hz: float
    high_hz: float
    high_q: float

    def before(self, frequency_hz: Array) -> Complex:
        """Input coupling at frequencies >= 0 Hz."""
        return _high_pass(frequency_hz, self.input_hz) / self._magnitude_before

    def after(self, frequency_hz: Array) -> Complex:
        """Output transformer or coupling, and the treble corner, at frequencies >= 0 Hz."""
        return self._after(frequency_hz) / self._magnitude_after

    def whole(self, frequency_hz: Array) -> Complex:
        """Both, as a small signal meets them."""
        return self.before(frequency_hz) * self.after(frequency_hz)

    def _after(self, frequency_hz: Array) -> Complex:
        ratio = frequency_hz / self.high_hz
        low_pass = 1.0 / (1.0 - ratio**2 + 1j * ratio / self.high_q)
        return _high_pass(frequency_hz, self.output_hz) * low_pass

    @property
    def _magnitude_before(self) -> float:
        return float(np.abs(_high_pass(np.array([REFERENCE_HZ]), self.input_hz))[0])

    @property
    def _magnitude_after(self) -> float:
        return float(np.abs(self._after(np.array([REFERENCE_HZ])))[0])


def _high_pass(frequency_hz: Array, corner_hz: float) -> Complex:
    if corner_hz == 0:
        return np.ones(len(frequency_hz), dtype=np.complex128)
    ratio = 1j * frequency_hz / corner_hz
    return ratio / (1.0 + ratio)


def corner_3db(response: Callable[[Array], Complex], *, high: bool) -> float:
    """Frequency in Hz where a response is 3.0103 dB below 1 kHz, by bisection.

    0 for the low corner of a unit that is coupled for DC.
    """
    if not high and abs(response(np.array([1e-3]))[0]) > np.sqrt(0.5):
        return 0.0
    inside, outside = (REFERENCE_HZ, 1e7) if high else (REFERENCE_HZ, 1e-3)
    for _ in range(80):
        middle = float(np.sqrt(inside * outside))
        level = float(np.abs(response(np.array([middle])))[0])
        inside, outside = (middle, outside) if level > np.sqrt(0.5) else (inside, middle)
    return inside
