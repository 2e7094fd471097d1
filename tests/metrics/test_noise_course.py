"""Noise by block of time: steady noise is level, a burst and a step stand where they are."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.metrics.noise import idle_view
from backbench.metrics.noise_course import noise_over_time
from backbench.signal.track import Track
from tones import idle_material

RATE, SECONDS = 48_000.0, 4.0


def _drawn(volts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    view = idle_view.build(idle_material(Track(volts, RATE, 1.0, 0.0)), 1)
    assert noise_over_time.trace
    course = noise_over_time.trace(view)
    return course.x, course.y


def _noise(seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 1e-5, round(SECONDS * RATE))


def test_steady_noise_is_level_whatever_hum_is_beside_it() -> None:
    """Closed form: the mean is 0 dB in power; hum is no part of it."""
    time = np.arange(round(SECONDS * RATE)) / RATE
    for hum in (0.0, 1e-3):
        x, y = _drawn(_noise() + hum * np.sin(2 * np.pi * 50 * time))
        assert np.abs(y).max() < 0.5
        assert np.mean(10 ** (y / 10)) == pytest.approx(1.0, rel=1e-9)
        assert (0 < x[0] < x[-1] < SECONDS, np.ptp(np.diff(x)) < 1e-9) == (True, True)


def test_a_burst_stands_in_its_block_at_its_height() -> None:
    """Closed form: noise of three times the rms is 9.54 dB higher."""
    volts = _noise()
    inside = slice(round(1.8 * RATE), round(2.6 * RATE))
    volts[inside] *= 3
    x, y = _drawn(volts)
    within, without = y[(x > 2.05) & (x < 2.35)], y[(x < 1.5) | (x > 2.9)]
    assert np.mean(within) - np.mean(without) == pytest.approx(9.54, abs=0.3)
