"""A line about 20 kHz with nothing playing: closed form of its power under each weighting."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.metrics.band_sums import Weighting
from backbench.metrics.noise import idle_view, noise_figure
from backbench.signal.itu_468 import weighting_468
from backbench.signal.weighting import a_weighting
from tones import idle_material, track

DENSITY, END_HZ, LOW_HZ = 1e-7, 20_000.0, 20.0
FACTORS = {Weighting.NONE: np.ones_like, Weighting.A: a_weighting, Weighting.BS_468: weighting_468}


@pytest.mark.parametrize("rate", [48_000.0, 192_000.0])
@pytest.mark.parametrize("over_db", [20.0, 60.0])
@pytest.mark.parametrize("off_hz", [-10.0, -4.7, -0.6, 0.0, 0.6, 2.3, 6.0, 10.0])
def test_a_line_counts_whole_up_to_20_khz_and_not_at_all_beyond(
    rate: float, over_db: float, off_hz: float
) -> None:
    t = np.arange(int(rate)) / rate
    hz = END_HZ + off_hz
    rms = DENSITY * math.sqrt(END_HZ - LOW_HZ) * 10 ** (over_db / 20)
    noise = np.random.default_rng(3).normal(0, DENSITY * math.sqrt(rate / 2), len(t))
    volts = noise + math.sqrt(2) * rms * np.sin(2 * np.pi * hz * t + 1)
    idle = idle_view.build(idle_material(track(volts, rate)), 1)
    inside = np.linspace(LOW_HZ, END_HZ, 20_001)
    for weighting, factor in FACTORS.items():
        line = rms * float(factor(np.array([hz]))[0]) if off_hz <= 0 else 0.0
        noise_square = DENSITY**2 * (END_HZ - LOW_HZ) * float(np.mean(factor(inside) ** 2))
        figure = noise_figure(idle, weighting)
        expected = math.sqrt(noise_square + line**2)
        assert abs(figure.value - expected) < 3 * figure.uncertainty, (weighting, figure, expected)
