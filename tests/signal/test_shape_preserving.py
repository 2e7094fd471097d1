"""Curves that keep the shape of their points, beside the library's and by their properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from backbench.signal.shape_preserving import Cubics

points = st.lists(
    st.tuples(st.floats(0.01, 3.0), st.floats(-20, 20) | st.sampled_from([0.0, 1.0])),
    min_size=2, max_size=12,
)  # fmt: skip


@given(points, st.floats(0, 1))
def test_values_are_those_of_the_library(given: list[tuple[float, float]], share: float) -> None:
    """scipy.interpolate.PchipInterpolator makes all cubics at once."""
    places = np.cumsum([step for step, _ in given])
    levels = np.array([level for _, level in given])
    at = float(places[0] + share * (places[-1] - places[0]))
    expected = float(PchipInterpolator(places, levels)(at))
    assert Cubics(places.tolist(), levels.tolist())(at) == pytest.approx(expected, abs=1e-12)


@given(points, st.floats(0, 1))
def test_no_value_is_beyond_its_neighbours(given: list[tuple[float, float]], share: float) -> None:
    places = np.cumsum([step for step, _ in given])
    levels = [level for _, level in given]
    at = float(places[0] + share * (places[-1] - places[0]))
    n = min(int(np.searchsorted(places, at, side="right")) - 1, len(levels) - 2)
    low, high = sorted(levels[n : n + 2])
    assert low - 1e-9 <= Cubics(places.tolist(), levels)(at) <= high + 1e-9
