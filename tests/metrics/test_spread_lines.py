"""Hiss and the hum-to-hiss ratio beside rectifier buzz, steady and wavering."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.metrics.declaration import MeasuredValue
from tones import figures, idle_material, track

RATE, HISS = 48_000.0, 3e-7
WHITE = HISS * math.sqrt(RATE / 2)
T = np.arange(int(1.4 * RATE)) / RATE


def beside_buzz(bent_s: float, slow_v: float = 0.0) -> dict[str, MeasuredValue]:
    """White noise of 0.3 uV per root hertz beside even multiples of 50 Hz, whose time is bent.

    slow_v: rms of noise below 40 Hz.
    """
    rng = np.random.default_rng(4)
    at = T + bent_s * np.sin(2 * np.pi * 0.8 * T)
    volts = rng.normal(0, WHITE, len(T))
    for n in range(2, 160, 2):
        volts += 7e-5 / (1 + (n / 20) ** 2) * np.cos(2 * np.pi * 50 * n * at + n * n)
    if slow_v:
        bins = np.fft.rfft(rng.normal(0, 1.0, len(T)))
        bins[np.fft.rfftfreq(len(T), 1 / RATE) > 40] = 0
        slow = np.fft.irfft(bins, len(T))
        volts += slow_v * slow / slow.std()
    return figures(idle_material(track(volts, RATE)))


def test_hiss_beside_lines_that_waver_is_read_half_way_between_them() -> None:
    result = beside_buzz(6e-4)["hiss"]
    assert abs(result.value - HISS) < 3 * result.uncertainty < 0.1 * HISS
    assert "read half way between them" in (result.remark or "")


def test_hiss_beside_steady_lines_needs_no_remark() -> None:
    result = beside_buzz(0.0)["hiss"]
    assert abs(result.value - HISS) < 3 * result.uncertainty < 0.05 * HISS
    assert result.remark is None


def test_a_ratio_to_noise_of_few_bins_is_known_as_these_are() -> None:
    """Closed form: the median of n powers has the relative variance 1 / (n ln^2 2)."""
    even, slow = (beside_buzz(0.0, volts)["hum_over_hiss"] for volts in (0.0, 1e-4))
    assert slow.value < even.value - 3
    least = 8.686 / 2 * math.sqrt(1 / (28 * math.log(2) ** 2))
    assert slow.uncertainty > least > 5 * even.uncertainty
    assert even.value == pytest.approx(
        10 * math.log10(sum((7e-5 / (1 + (n / 20) ** 2)) ** 2 / 2 for n in (2, 4, 6, 8, 10))
                        / (HISS**2 * 19_980)), abs=0.2)  # fmt: skip
