"""The background of noise that rises towards low frequencies: closed form of a power law."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.signal.background import background

BINS, FIRST = 4000, 20


def drawn(power: np.ndarray, *, curved: bool) -> np.ndarray:
    """The background re what it is drawn from; free are bins between lines 50 bins apart."""
    bins = np.arange(BINS)
    free = (bins > 8) & (np.abs(bins - np.rint(bins / 50) * 50) > 8)
    return background(power * math.log(2), free, BINS, curved=curved)[FIRST:] / power[FIRST:]


@pytest.mark.parametrize("steep", [0.7, 1.0, 1.5, 2.0])
def test_a_power_of_frequency_is_drawn_as_one(steep: float) -> None:
    power = np.maximum(np.arange(BINS), 1.0) ** -steep
    shares = power[FIRST:] / power[FIRST:].sum()
    curved, straight = (float(shares @ drawn(power, curved=c)) for c in (True, False))
    assert curved == pytest.approx(1, abs=0.06)
    assert straight - 1 > 2 * abs(curved - 1)


def test_level_noise_is_drawn_as_by_straight_lines() -> None:
    level = np.ones(BINS)
    np.testing.assert_allclose(drawn(level, curved=True), drawn(level, curved=False), rtol=1e-12)


def test_noise_that_levels_off_keeps_what_was_found_at_the_centres() -> None:
    """White above a corner, 1/f^2 below it: no bin is off by more than the middle of a segment."""
    bins = np.maximum(np.arange(BINS), 1.0)
    found = drawn(1 + (60 / bins) ** 2, curved=True)
    assert np.abs(found - 1).max() < 0.35
    assert abs(found.mean() - 1) < 0.01
