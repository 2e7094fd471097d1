"""A square wave with the finite bandwidth of its generator."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.seed_dataset.stimulus import Complex, Periodic, number

LINES = 4097
EDGE_HZ = 600_000.0  # first-order corner of the generator's edges
RISE_TIME_S = math.log(9) / (2 * math.pi * EDGE_HZ)


@dataclass(frozen=True)
class Square(Periodic):
    """A square wave of hz, level_vpp peak to peak."""

    hz: float
    level_vpp: float
    rate_hz: int = 192_000
    seconds: float = 0.26

    def toml(self) -> str:
        return (
            f"{{ square_hz = {number(self.hz)}, generator_vpp = {number(self.level_vpp)}, "
            f"rise_time_s = {RISE_TIME_S:.3g} }}"
        )

    def spectrum(self) -> tuple[Complex, float, float]:
        amplitudes = np.zeros(LINES, dtype=np.complex128)
        odd = np.arange(1, LINES - 1, 2)
        edge = 1.0 / (1.0 + 1j * odd * self.hz / EDGE_HZ)
        amplitudes[odd] = -1j * (2 * self.level_vpp / np.pi) / odd * edge
        return amplitudes, self.hz, self.hz
