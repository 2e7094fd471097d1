"""Two sines whose frequencies share a common base."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.seed_dataset.stimulus import Complex, Periodic, number


@dataclass(frozen=True)
class TwoTones(Periodic):
    """Whole frequencies in Hz, the lower first, `ratio` of their amplitudes; total rms."""

    low_hz: int
    high_hz: int
    ratio: float
    level_v: float
    rate_hz: int = 96_000
    seconds: float = 0.3

    def toml(self) -> str:
        return (
            f"{{ tones_hz = [{self.low_hz}, {self.high_hz}], ratio = {number(self.ratio)}, "
            f"generator_vrms = {number(self.level_v)} }}"
        )

    def spectrum(self) -> tuple[Complex, float, float]:
        base = math.gcd(self.low_hz, self.high_hz)
        count = 2 ** math.ceil(math.log2(16 * self.high_hz / base)) + 1
        amplitudes = np.zeros(count, dtype=np.complex128)
        high = np.sqrt(2.0) * self.level_v / math.hypot(self.ratio, 1.0)
        amplitudes[self.low_hz // base] = -1j * self.ratio * high
        amplitudes[self.high_hz // base] = -1j * high
        return amplitudes, float(base), math.sqrt(self.low_hz * self.high_hz)
