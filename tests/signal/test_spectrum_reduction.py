"""Spectra drawn with few points keep their lines and their noise."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.metrics.measurement import measure
from tones import idle_material, sines, tone_material, track

RATE = 96_000.0
NOISE = 1e-4


def noisy(seconds: float, lines: dict[float, float]) -> np.ndarray:
    volts = sines(RATE, seconds, lines)
    return volts + np.random.default_rng(4).normal(0, NOISE, len(volts))


def test_lines_keep_frequency_and_level() -> None:
    volts = noisy(2.0, {1000.3: 2.0, 2000.6: 2e-3, 17_777.0: 1e-4})
    (trace,) = measure(tone_material(track(volts, RATE)))[1]
    data = trace.data
    assert len(data.x) <= 600
    assert np.all(np.diff(data.x) > 0)
    for frequency, peak in ((1000.3, 2.0), (2000.6, 2e-3), (17_777.0, 1e-4)):
        near = np.argmin(np.abs(data.x - frequency))
        assert data.x[near] == pytest.approx(frequency, abs=0.3)
        expected = 20 * np.log10(peak / np.sqrt(2))
        assert data.y[near] == pytest.approx(expected, abs=0.3 if peak < 1e-3 else 0.05)


def test_density_of_white_noise_is_neither_raised_nor_lowered() -> None:
    curves = measure(idle_material(track(noisy(4.0, {50.02: 1e-2}), RATE)))[1]
    (data,) = (trace.data for trace in curves if trace.name == "idle_spectrum")
    expected = 20 * np.log10(NOISE) - 10 * np.log10(RATE / 2)
    high = data.x > 2000
    assert len(data.x) <= 600
    assert np.mean(data.y[high]) == pytest.approx(expected, abs=0.1)
    assert np.all(np.abs(data.y[high] - expected) < 3)
    assert data.x[np.argmax(data.y)] == pytest.approx(50.02, abs=0.2)
