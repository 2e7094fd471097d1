"""Many sines of equal amplitude on a common base, at phases that keep the peak low."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.seed_dataset.stimulus import Complex, Periodic


@dataclass(frozen=True)
class Multitone(Periodic):
    """Whole multiples of base_hz, ascending; level_v is the rms of all together.

    Phases are Schroeder's (1970, from memory): -pi k (k - 1) / n for tone k of n.
    """

    multiples: tuple[int, ...]
    base_hz: float
    level_v: float
    rate_hz: int = 96_000
    seconds: float = 0.5

    def toml(self) -> str:
        tones = ", ".join(f"{self.base_hz * k:.10g}" for k in self.multiples)
        return f"{{ multitone_hz = [{tones}], generator_vrms = {self.level_v:.10g} }}"

    def spectrum(self) -> tuple[Complex, float, float]:
        count = 2 ** math.ceil(math.log2(8 * self.multiples[-1])) + 1
        amplitudes = np.zeros(count, dtype=np.complex128)
        number = len(self.multiples)
        order = np.arange(1, number + 1)
        phase = -np.pi * order * (order - 1) / number
        peak = self.level_v * math.sqrt(2.0 / number)
        amplitudes[list(self.multiples)] = peak * np.exp(1j * phase)
        about = self.base_hz * math.sqrt(self.multiples[0] * self.multiples[-1])
        return amplitudes, self.base_hz, about
