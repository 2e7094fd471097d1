"""Many lines summed in one go beside one line at a time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.signal.power import line_power, lobes


@given(
    places=st.lists(st.tuples(st.integers(0, 190), st.integers(1, 40)), min_size=1, max_size=12),
    seed=st.integers(0, 2**32 - 1),
)
def test_lines_together_are_those_one_by_one(places: list[tuple[int, int]], seed: int) -> None:
    rng = np.random.default_rng(seed)
    power, noise = rng.uniform(0, 3, 200), rng.uniform(0.5, 1, 200)
    first = np.array([start for start, _ in places])
    stop = np.minimum(first + [width for _, width in places], 200)
    value, floor, _ = lobes(power, noise, 1.5, first, stop)
    alone = [line_power(power[a:b], noise[a:b], 1.5, 9.0) for a, b in zip(first, stop, strict=True)]
    assert value == pytest.approx([one.value for one in alone], rel=1e-12, abs=1e-12)
    assert floor == pytest.approx([one.floor for one in alone], rel=1e-12)


def test_bins_of_one_height_by_hand() -> None:
    # Three bins of 5 V^2 over a noise of 2 V^2: 9 V^2, and a variance of 3 * 2^2 V^4.
    value, floor, _ = lobes(
        np.full(10, 5.0), np.full(10, 2.0), 1.0, np.array([1, 7]), np.array([4, 10])
    )
    assert value.tolist() == [9.0, 9.0]
    assert floor.tolist() == [12.0, 12.0]


def test_no_line_has_no_power() -> None:
    nothing = np.zeros(0, int)
    value, floor, _ = lobes(np.ones(4), np.ones(4), 1.0, nothing, nothing)
    assert (value.size, floor.size) == (0, 0)
