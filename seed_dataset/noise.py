"""Hiss and mains lines at an output."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.series import laid_out

Array = NDArray[np.float64]
AUDIO_BAND_HZ = 19_980.0


def hiss(rng: np.random.Generator, rms_v: float, n: int, rate_hz: float) -> Array:
    """White noise of n samples whose part in 20 Hz-20 kHz is rms_v."""
    density = rms_v * float(np.sqrt(rate_hz / 2 / AUDIO_BAND_HZ))
    return np.asarray(rng.standard_normal(n) * density, dtype=np.float64)


def mains_hz(review_key: str, nominal_hz: float) -> float:
    """The mains as it was in a session: within about 0.1 % of nominal."""
    return float(nominal_hz * (1 + 4e-4 * generator_for("mains", review_key).standard_normal()))


def mains(
    rng: np.random.Generator, rms_v: tuple[float, ...], hz: float, n: int, rate_hz: float
) -> Array:
    """Lines at multiples 1, 2, … of the mains, V rms each, at phases of chance."""
    phases = rng.uniform(0, 2 * np.pi, len(rms_v))
    peaks = np.sqrt(2.0) * np.array(rms_v) * np.exp(1j * phases)
    return laid_out(np.concatenate([[0.0], peaks]), hz, n, rate_hz)
