"""The middle value of each of many segments."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from backbench.signal.segment_medians import Segments

ENDS = [0, 1, 3, 30, 54, 700, 1999, 2000]


def by_order(values: np.ndarray) -> np.ndarray:
    """Independent reference: the lower middle of each segment put in order."""
    parts = [np.sort(values[:, a:b], axis=1) for a, b in pairwise(ENDS)]
    return np.stack([part[:, (part.shape[1] - 1) // 2] for part in parts], axis=1)


@pytest.mark.parametrize("scale", [1.0, 1e-18, 1e-44, 0.0])
def test_values_are_those_of_all_put_in_order(scale: float) -> None:
    """To the last digit, also of values that single precision can't tell apart."""
    values = scale * np.random.default_rng(3).exponential(size=(2, ENDS[-1]))
    assert (Segments.between(ENDS).medians(values) == by_order(values)).all()


@pytest.mark.parametrize("apart", [1e-12, 1e-9, 1e-7])
def test_neighbours_that_are_rounded_alike_are_told_apart(apart: float) -> None:
    values = 1.0 + apart * np.random.default_rng(4).exponential(size=(2, ENDS[-1]))
    assert (Segments.between(ENDS).medians(values) == by_order(values)).all()


def test_the_values_are_left_as_they_are() -> None:
    values = np.random.default_rng(5).exponential(size=(1, ENDS[-1]))
    before = values.copy()
    Segments.between(ENDS).medians(values)
    assert (values == before).all()
