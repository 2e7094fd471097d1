"""Medians and quantiles against numpy's own."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.signal.quantiles import middle, quantile_of_rising


@pytest.mark.parametrize("count", [1, 2, 3, 32, 33, 200, 201])
def test_the_median_along_the_first_axis_is_numpys(count: int) -> None:
    values = np.random.default_rng(count).normal(size=(count, 3))
    assert np.array_equal(middle(values), np.median(values, axis=0))
    assert float(middle(values[:, 0])) == np.median(values[:, 0])


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5, 0.9, 0.99, 1.0])
def test_a_quantile_lies_straight_between_two_values(share: float) -> None:
    values = np.sort(np.random.default_rng(1).exponential(size=32 * 31))
    expected = float(np.quantile(values, share))
    assert quantile_of_rising(values, share) == pytest.approx(expected, rel=1e-12)


def test_the_quantile_of_one_value_is_that_value() -> None:
    assert quantile_of_rising(np.array([3.0]), 0.7) == 3.0
