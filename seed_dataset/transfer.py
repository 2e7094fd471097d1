"""The static nonlinearity of an amplifier: curvature, crossover and clipping."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
CORE_HZ = 20.0
STRIDE = 5


@dataclass(frozen=True)
class Transfer:
    """Output over rail against drive over rail, both dimensionless; slope 1 at zero but for
    the crossover, which takes `crossover` off the slope within about `crossover_width`.

    even, cubic, fifth: coefficients of x^2, x^3, x^5 after the clipper.
    knee: exponent of the clipper, about 3 (very soft) to 30 (hard).
    treble_hz: the frequency from which falling feedback lets the curvature grow.
    core: cubic coefficient that a transformer core adds at 20 Hz, falling as 1/f^2.
    """

    even: float
    cubic: float
    fifth: float
    knee: float
    crossover: float = 0.0
    crossover_width: float = 0.01
    treble_hz: float = 20_000.0
    core: float = 0.0

    def at(self, frequency_hz: float) -> Transfer:
        """The transfer as it is for signals about one frequency."""
        rise = float(np.hypot(1.0, frequency_hz / self.treble_hz))
        core = self.core * (CORE_HZ / frequency_hz) ** 2
        return replace(
            self, even=self.even * rise, cubic=self.cubic * rise - core, fifth=self.fifth * rise
        )

    def __call__(self, drive: Array, ceiling: float = 1.0) -> Array:
        """Apply to drive, any shape, relative to the rail; ceiling: what the load leaves of it.

        Only the clipper depends on the ceiling, so that small signals meet the same curvature
        with every load.
        """
        u = drive / (1.0 + np.abs(drive / ceiling) ** self.knee) ** (1.0 / self.knee)
        squared = u * u
        bent = u * (1.0 + self.cubic * squared + self.fifth * squared * squared)
        bent += self.even * squared
        if self.crossover:
            width = self.crossover_width
            bent -= self.crossover * width * np.tanh(u / width)
        return bent

    @property
    def slope(self) -> float:
        """Small-signal gain at zero drive."""
        return 1.0 - self.crossover


def distortion(transfer: Transfer, drive: float, ceiling: float = 1.0) -> tuple[float, float]:
    """THD (ratio to the fundamental, harmonics 2..10) and fundamental amplitude of a sine."""
    phase = 2 * np.pi * np.arange(512) / 512
    lines = np.abs(np.fft.rfft(transfer(drive * np.sin(phase), ceiling))) / 256
    return float(np.sqrt(np.sum(lines[2:11] ** 2)) / lines[1]), float(lines[1])


@lru_cache(maxsize=256)
def amplitude_at(transfer: Transfer, thd: float, ceiling: float = 1.0) -> float:
    """Fundamental amplitude, relative to the rail, where clipping takes THD past a ratio.

    Searched downwards from hard clipping, so that crossover at low drive does not count.
    Raises ValueError where THD is above the ratio at every drive.
    """

    def clean(drive: float) -> bool:
        return distortion(transfer, drive, ceiling)[0] <= thd

    drives = [float(drive) for drive in np.geomspace(4.0, 0.05, 200)]
    strides = range(STRIDE - 1, len(drives), STRIDE)
    last = next((n for n in strides if clean(drives[n])), None)
    if last is None:
        raise ValueError("distortion above the limit at every drive")
    low = next(drive for drive in drives[last - STRIDE + 1 : last + 1] if clean(drive))
    high = 1.03 * low
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if clean(middle) else (low, middle)
    return distortion(transfer, low, ceiling)[1]
