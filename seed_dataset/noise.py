"""Hiss and mains lines at an output."""

from __future__ import annotations

import numpy as np
from backbench.seed_dataset.draws import generator_for
from numpy.typing import NDArray

Array = NDArray[np.float64]
AUDIO_BAND_HZ = 19_980.0


def hiss(rng: np.random.Generator, rms_v: float, n: int, rate_hz: float) -> Array:
    """White noise of n samples whose part in 20 Hz-20 kHz is rms_v."""
    density = rms_v * float(np.sqrt(rate_hz / 2 / AUDIO_BAND_HZ))
    return np.asarray(rng.standard_normal(n) * density, dtype=np.float64)


def mains_hz(review_key: str, nominal_hz: float) -> float:
    """The mains as it was in a session: within about 0.1 % of nominal."""
    return float(nominal_hz * (1 + 4e-4 * generator_for("mains", review_key).standard_normal()))


def mains(rng: np.random.Generator, rms_v: tuple[float, ...], hz: float, time_s: Array) -> Array:
    """Lines at multiples 1, 2, … of the mains, V rms each, at phases of chance."""
    total = np.zeros(len(time_s))
    for order, rms in enumerate(rms_v, start=1):
        phase = rng.uniform(0, 2 * np.pi)
        total += np.sqrt(2.0) * rms * np.cos(2 * np.pi * hz * order * time_s + phase)
    return total
