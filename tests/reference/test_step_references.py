"""Steps against scipy's simulation of them and against published relations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import StateSpace, lsim, step
from scipy.special import sici

from backbench.signal.rise_time import BRICK_WALL
from backbench.signal.transition import LONG
from squares import RATE, recorded, second_order, square_material, trace_material
from tones import figures, track


def test_rise_time_of_an_ideal_low_pass() -> None:
    """Step response 1/2 + Si(2 pi B t) / pi; its 10 % to 90 % by root finding."""
    wave = lambda x, share: 0.5 + sici(2 * math.pi * x)[0] / math.pi - share  # noqa: E731
    rise = brentq(wave, 0, 0.5, args=(0.9,)) - brentq(wave, -0.5, 0, args=(0.1,))
    assert pytest.approx(rise, rel=5e-3) == BRICK_WALL


def test_first_order_rise_time_of_100_khz() -> None:
    """ln 9 / (2 pi B) = 3.497 us at 100 kHz (computed); an edge made by scipy.signal.lsim."""
    hz, corner = 5000.0, 1e5
    t = np.arange(0, 8 / hz, 1e-8)
    played = np.where((t * hz) % 1 < 0.5, 1.0, -1.0)
    w = 2 * math.pi * corner
    _, volts, _ = lsim(StateSpace([[-w]], [[w]], [[1.0]], [[0.0]]), played, t, interp=False)
    late = t > 4.2 / hz
    result = figures(trace_material(t[late], volts[late], hz))
    assert result["rise_time"].value == pytest.approx(3.497e-6, rel=5e-3)


@pytest.mark.parametrize("damping", [0.25, 0.45])
def test_recorded_second_order_step_against_scipy(damping: float) -> None:
    w = 2 * math.pi * 2.5e4
    t, wave = step(([w * w], [1, 2 * damping * w, w * w]), T=np.linspace(0, 4e-4, 40_001))
    result = figures(square_material(track(recorded(second_order(2.5e4, damping)), RATE)))
    rise = t[np.argmax(wave >= 0.9)] - t[np.argmax(wave >= 0.1)]
    assert abs(result["rise_time"].value - rise) < 2 * result["rise_time"].uncertainty or (
        result["rise_time"].bound == "upper" and result["rise_time"].value > rise
    )
    assert abs(result["overshoot"].value - 100 * (wave.max() - 1)) < (
        2 * result["overshoot"].uncertainty
    )
    outside = np.flatnonzero(np.abs(wave - 1) > 0.02)
    settled = t[outside[-1]] - t[np.argmax(wave >= 0.5)]
    assert abs(result["settling_time"].value - settled) < 2 * result["settling_time"].uncertainty


def test_ringing_of_the_damping_named_has_settled_where_tilt_is_read() -> None:
    """What is said of LONG: at 0.3 of so long a state a step of damping 0.3 is within 3 %."""
    t, wave = step(([1.0], [1, 0.6, 1.0]), T=np.linspace(0, 60, 60_001))
    rise = t[np.argmax(wave >= 0.9)] - t[np.argmax(wave >= 0.1)]
    assert np.abs(wave[t >= 0.3 * LONG * rise] - 1).max() < 0.03
