"""Noise that comes in events: its uncertainty is what blocks of time show."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.metrics.band_sums import Weighting
from backbench.metrics.noise import idle_view, noise_figure
from backbench.metrics.noise_in_time import known_to
from backbench.signal.track import Track
from tones import figures, idle_material, tone_material, track

RATE, CLICK_RATE = 48_000.0, 96_000.0


def clicks(rng: np.random.Generator, often: float, seconds: float = 1.5) -> np.ndarray:
    """Poisson clicks of one height in weak white noise."""
    count = round(seconds * RATE)
    volts = rng.normal(0, 1e-6, count)
    np.add.at(volts, rng.integers(0, count, rng.poisson(often * seconds)), 1e-3)
    return volts


def test_noise_of_events_scatters_as_their_number_does() -> None:
    """Closed form (Campbell): the power of Poisson events varies by one over the root of their
    number, the rms by half of that; 24 records at 150 events."""
    scores = []
    for seed in range(24):
        track = Track(clicks(np.random.default_rng(seed), 100.0), RATE, 1.0, 0.0)
        figure = noise_figure(idle_view.build(idle_material(track), 1), Weighting.NONE)
        truth = 1e-3 * math.sqrt(100.0 / RATE * 19_980 / (RATE / 2))
        scores.append((figure.value - truth) / figure.uncertainty)
    assert np.mean(np.abs(scores) < 2.05) >= 0.87
    assert np.abs(scores).max() < 4.0


def test_steady_noise_keeps_its_uncertainty() -> None:
    rng = np.random.default_rng(4)
    kept = 0
    for _ in range(300):
        squares = rng.chisquare(2000, 31) / 2000
        relative = 1 / math.sqrt(2 * 31 * 2000)
        kept += known_to(relative, 31 * 1000.0, 1.0, squares).u == relative
    assert kept >= 297


def test_blocks_that_scatter_more_count_with_their_own_degrees_of_freedom() -> None:
    squares = np.where(np.arange(20) % 5 == 0, 4.0, 1.0)
    known = known_to(0.01, 5000.0, 1.0, squares)
    own = float(squares.std(ddof=1) / squares.mean())
    assert known.u == np.float64(own * math.sqrt(1.06 / 20) / 2)
    assert known.dof == 19


@pytest.mark.parametrize("seed", range(3))
def test_clicks_in_a_record_of_a_third_of_a_second_are_in_the_uncertainty(seed: int) -> None:
    """Sixty clicks: their power is known to a quarter, in a record too short for tenths of one."""
    rng = np.random.default_rng(seed)
    volts = np.cos(2 * np.pi * 997.0 * np.arange(int(0.33 * CLICK_RATE)) / CLICK_RATE)
    np.add.at(volts, rng.integers(0, len(volts), 60), rng.normal(0, 0.1, 60))
    volts += rng.normal(0, 1e-5, len(volts))
    found = figures(tone_material(track(volts, CLICK_RATE), hz=997.0))["snr"]
    inside = 60 * 0.1**2 / len(volts) * 2 * 19_980 / CLICK_RATE
    assert abs(found.value - 10 * math.log10(0.5 / inside)) < 3 * found.uncertainty
    assert "isn't steady" in (found.remark or "")
