"""One sine, with the generator's own slight distortion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from backbench.seed_dataset.stimulus import Complex, Periodic, number

LINES = 513
OWN_HARMONICS = {2: 10 ** (-112 / 20), 3: 10 ** (-116 / 20)}


@dataclass(frozen=True)
class Tone(Periodic):
    """A sine of hz at an EMF of level_v rms."""

    hz: float
    level_v: float
    rate_hz: int = 48_000
    seconds: float = 0.42

    def toml(self) -> str:
        return f"{{ tone_hz = {number(self.hz)}, generator_vrms = {number(self.level_v)} }}"

    def spectrum(self) -> tuple[Complex, float, float]:
        amplitudes = np.zeros(LINES, dtype=np.complex128)
        peak = np.sqrt(2.0) * self.level_v
        amplitudes[1] = -1j * peak
        for order, part in OWN_HARMONICS.items():
            amplitudes[order] = part * peak
        return amplitudes, self.hz, self.hz
