"""The strongest line over the noise around it, against a plain search through every range."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.metrics.ultrasonic import BACKGROUND_BINS, _highest
from backbench.signal.track import Array


def by_every_range(power: Array) -> tuple[int, float]:
    count = max((len(power) - BACKGROUND_BINS // 2 - 1) // BACKGROUND_BINS, 0) + 1
    ranges = np.split(np.arange(len(power)), BACKGROUND_BINS * np.arange(1, count))
    best, highest = -1.0, (0, math.inf)
    for bins in ranges:
        held = power[bins][power[bins] > 0]
        noise = float(np.median(held)) / math.log(2) if len(held) else math.inf
        peak = int(bins[np.argmax(power[bins])])
        if power[peak] / noise > best:
            best, highest = power[peak] / noise, (peak, noise)
    return highest


@pytest.mark.parametrize("count", [30, 400, 601, 5000])
@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_the_search_finds_what_looking_at_every_range_finds(
    count: int, seed: int, kind: type[np.floating]
) -> None:
    rng = np.random.default_rng([count, seed])
    power = rng.exponential(size=count) * np.geomspace(1, 10 ** rng.uniform(-3, 3), count)
    power[rng.random(count) < 0.3 * rng.random()] = 0.0
    if seed % 2:
        power[int(rng.integers(count))] *= 100
    place, noise = _highest(power, power.astype(kind))
    assert (place, noise) == (by_every_range(power)[0], pytest.approx(by_every_range(power)[1]))


def test_nothing_at_all_is_no_line() -> None:
    assert _highest(np.zeros(900), np.zeros(900)) == (0, math.inf)
