"""Parts of the invented units' sound against what general libraries and plain sums make of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import firwin, freqz, upfirdn

from backbench.seed_dataset.player import RATE, TAPS, Player
from backbench.seed_dataset.series import laid_out
from backbench.seed_dataset.stage import Stage

PLAYER = Player(edge_hz=21_500.0)


def test_the_filter_of_a_player_is_that_of_the_library() -> None:
    taps = 2 * firwin(TAPS, PLAYER.edge_hz, fs=RATE)
    assert PLAYER.filter == pytest.approx(taps, abs=1e-14)
    hz = (997.0, 20_000.0, 24_100.0)
    assert PLAYER.gain_at(*hz) == pytest.approx(np.abs(freqz(taps, worN=hz, fs=RATE)[1]), abs=1e-12)


@pytest.mark.parametrize("n", [1, 40, 441])
def test_samples_are_interpolated_as_the_library_does(n: int) -> None:
    samples = np.random.default_rng(n).standard_normal(n)
    whole = upfirdn(PLAYER.filter, samples, up=2)
    middle = whole[TAPS // 2 : TAPS // 2 + 2 * n]
    assert PLAYER.interpolated(samples)[: len(middle)] == pytest.approx(middle, abs=1e-13)
    assert len(PLAYER.interpolated(samples)) == 2 * n


@pytest.mark.parametrize("orders", [(), (0,), (0, 3), (1, 40, 41)])
def test_a_sum_of_harmonics_is_that_of_its_sines(orders: tuple[int, ...]) -> None:
    n, rate_hz, base_hz = 1000, 48_000.0, 61.7
    amplitudes = np.zeros(64, dtype=np.complex128)
    for order in orders:
        amplitudes[order] = 0.3 * order - 1j
    time = np.arange(n) / rate_hz
    plain = np.zeros(n)
    for order in orders:
        angle = 2 * np.pi * order * base_hz * time
        plain += 0.3 * order * np.cos(angle) + np.sin(angle)
    assert laid_out(amplitudes, base_hz, n, rate_hz) == pytest.approx(plain, abs=1e-11)


def test_a_stage_limits_where_a_root_of_its_distortion_lies() -> None:
    sine = np.sin(2 * np.pi * np.arange(64) / 64)

    def over(peak: float) -> float:
        """By plain sums; harmonics above 20 lie below the last digit asked for."""
        bent = np.tanh(peak * sine)
        lines = [
            abs(sum(bent * np.exp(-2j * np.pi * k * np.arange(64) / 64))) for k in range(1, 21)
        ]
        return 100 * math.hypot(*lines[1:]) / lines[0] - 1.0

    stage = Stage(gain=4.0, rail_v=10.0, hiss_v=0.0, source_ohm=1.0)
    root = brentq(over, 1e-3, 10.0) * 10.0 / 4.0 / math.sqrt(2)
    assert stage.input_at(1.0) == pytest.approx(root, rel=1e-6)
