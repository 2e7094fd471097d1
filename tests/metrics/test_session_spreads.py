"""Spreads between sessions that are assumed where nothing is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from backbench.metrics.registry import registry
from backbench.metrics.session_spreads import (
    LEVELS,
    ONE_SWEEP,
    RESIDUAL,
    RESIDUAL_DB,
    corner,
    usual_spread,
)

LOGARITHMIC = ("dB", "dB/h", "dBf", "deg", "ppm", "bit")


def test_what_may_be_zero_is_never_in_relation_to_its_value() -> None:
    for metric in registry().metrics.values():
        spread = metric.traits.session_spread or usual_spread(metric.unit)
        if metric.better == "nearer zero" or metric.unit in LOGARITHMIC:
            assert not spread.is_relative, metric.name
        assert spread.size > 0


@pytest.mark.parametrize("fall", [0.5, 1.0, 3.0])
def test_a_corner_moves_as_one_pole_does(fall: float) -> None:
    """Against the response of a pole, solved for the two levels: |H|^2 = 1 / (1 + x^2)."""

    def corner_at(level: float) -> float:
        return float(brentq(lambda x: 10 * np.log10(1 + x * x) - level, 1e-6, 1e3))

    moved = corner_at(fall + ONE_SWEEP.size / 2) / corner_at(fall - ONE_SWEEP.size / 2)
    assert corner(fall).size == pytest.approx(np.log(moved), rel=0.01)


def test_five_per_cent_in_decibels() -> None:
    assert pytest.approx(1 + RESIDUAL.size) == 10 ** (RESIDUAL_DB.size / 20)


def test_levels_return_better_than_what_a_unit_adds() -> None:
    assert ONE_SWEEP.size < LEVELS.size < RESIDUAL_DB.size
