"""Hiss from bands of few bins: closed form of the median of chi-squared powers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.metrics.hum_and_hiss import MEDIAN_EFFICIENCY, _mean_of_thirds, _thirds

INDEPENDENT = 1 / MEDIAN_EFFICIENCY
"""Spread of a window under which bins count as the independent ones that they are here."""


def test_medians_of_few_bins_are_not_high() -> None:
    """Order statistics of exponential variates (David and Nagaraja, from memory)."""
    powers = np.random.default_rng(7).exponential(size=(1500, 180))
    thirds = _thirds(np.ones(180, dtype=bool).tobytes(), 20)
    found = [_mean_of_thirds(power, thirds, INDEPENDENT).square for power in powers]
    assert np.mean(found) == pytest.approx(1, abs=0.015)


def test_bins_that_lines_take_make_it_less_certain() -> None:
    """The scatter over records is that of the bins it says: those of a thin band count most."""
    rng, bins = np.random.default_rng(8), np.arange(100, 1000)
    thin = (bins < 500) | (bins % 8 == 0)
    thirds = _thirds(thin.tobytes(), 100)
    levels = [_mean_of_thirds(rng.exponential(size=thin.sum()), thirds, INDEPENDENT)
              for _ in range(800)]  # fmt: skip
    squares, held = np.array([x.square for x in levels]), np.mean([x.bins for x in levels])
    assert held < 0.6 * thin.sum()
    expected = 1 / (math.log(2) * math.sqrt(held))
    assert squares.std() / squares.mean() == pytest.approx(expected, rel=0.1)
