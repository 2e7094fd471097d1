"""Sums of ranges of a spectrum's bins, which noise and what stands in it are read from."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.signal.power import noise_sum, products

SPREAD = 1.5
COUNT = 2000


@pytest.mark.parametrize(
    "kept",
    [
        (slice(None),),
        (slice(0, 10), slice(30, 1000), slice(1000, COUNT)),
        (slice(5, 5), slice(7, 8), slice(40, 30), slice(COUNT - 1, COUNT)),
    ],
)
def test_a_sum_over_ranges_is_the_sum_of_their_bins(kept: tuple[slice, ...]) -> None:
    rng = np.random.default_rng(1)
    power, noise = rng.exponential(size=(2, COUNT))
    power[20] = 1e12  # the line that a range is cut out for
    chosen = np.concatenate([np.arange(COUNT)[bins] for bins in kept])
    least = float(np.sum(noise[chosen] ** 2))
    both = float(np.sum(power[chosen] * noise[chosen]))
    total = noise_sum(power, noise, SPREAD, kept)
    assert total.value == pytest.approx(float(power[chosen].sum()), rel=1e-12)
    assert total.floor == pytest.approx(SPREAD * max(2 * both - least, least), rel=1e-12)


def test_no_range_holds_nothing() -> None:
    total = noise_sum(np.ones(8), np.ones(8), SPREAD, (slice(3, 3),))
    assert (total.value, total.floor) == (0.0, 0.0)


@pytest.mark.parametrize("count", [100, 8192, 20_000])
def test_products_of_rows_are_those_of_matrices(count: int) -> None:
    rng = np.random.default_rng(2)
    rows, others = rng.exponential(size=(3, count)), rng.exponential(size=(2, count))
    assert products(rows, others) == pytest.approx(rows @ others.T, rel=1e-13)
