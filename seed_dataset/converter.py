"""The bench's converter: its range, its own noise, words of 24 bits of which it fills 20."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from backbench.seed_dataset.noise import hiss

Array = NDArray[np.float64]
Words = NDArray[np.int32]
NOISE_BELOW_FULL_SCALE = 10 ** (-114 / 20)  # rms in 20 Hz-20 kHz over peak full scale
TOP = 2**23 - 1
BITS = 20
"""Its own noise is one step of so many bits: finer ones would be bytes of chance."""


def to_words(
    tracks: Sequence[Array], full_scale_v: Sequence[float], rate_hz: float,
    rng: np.random.Generator, bits: int = BITS,
) -> Words:  # fmt: skip
    """24-bit words, shape (n, tracks), left-justified in 32 bits; clipped at full scale.

    bits: that the converter resolves; those below are 0.
    """
    step = 2 ** (24 - bits)
    columns = []
    for volts, full_scale in zip(tracks, full_scale_v, strict=True):
        own = hiss(rng, NOISE_BELOW_FULL_SCALE, len(volts), rate_hz)
        words = step * np.rint((volts / full_scale + own) * 2**23 / step)
        columns.append(np.clip(words, -TOP - 1, TOP))
    return np.stack(columns, axis=1).astype(np.int32) << 8
