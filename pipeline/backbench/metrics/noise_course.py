"""The noise of an idle record in the course of time."""

from __future__ import annotations

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.declaration import CurveData, curve
from backbench.metrics.noise import IdleView

FEWEST_BLOCKS = 3


@curve(
    "noise_over_time",
    title="Noise by block of time (20 Hz to 20 kHz, lines left out), re the record's mean",
    x_unit="s",
    y_unit="dB",
    stimuli=["idle"],
    version=1,
)
def noise_over_time(idle: IdleView) -> CurveData:
    """Power of each block, which overlaps the next by half, at its middle; hum is no part of it.

    Popcorn noise and bursts stand out of their blocks; a record of few blocks tells nothing.
    """
    power, _ = idle.blocks
    blocks = len(power)
    if blocks < FEWEST_BLOCKS:
        raise Refusal("too short to be divided into blocks of time")
    inside = np.zeros(power.shape[1], dtype=np.float32)
    inside[idle.clear.place] = idle.clear.free[idle.clear.last]
    squares = (power @ inside).astype(np.float64)
    if not squares.min() > 0:
        raise Refusal("no noise between the lines")
    seconds = len(idle.track.volts) / idle.track.rate_hz
    middles = seconds * np.arange(1, blocks + 1) / (blocks + 1)
    return CurveData(middles, 10 * np.log10(squares / squares.mean()))
