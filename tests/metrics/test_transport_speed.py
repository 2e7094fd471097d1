"""Speed error and drift from a test tone with known errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import hilbert

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Transport
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.track import Array, Track

RATE = 16_000.0
T = np.arange(int(34 * RATE)) / RATE


def played(error: float, wow: float = 0.0, wow_hz: float = 5 / 9, drift: float = 0.0) -> Array:
    """A tone of 3 150 Hz; relative error, wow peak, and linear drift over the record."""
    speed = 1 + error + drift * T / T[-1] + wow * np.cos(2 * np.pi * wow_hz * T + 0.4)
    noise = 1e-3 * np.random.default_rng(2).standard_normal(len(T))
    return np.asarray(np.sin(2 * np.pi * 3150 * np.cumsum(speed) / RATE) + noise)


def capture_data(volts: Array) -> CaptureData:
    track = Track(volts, RATE, 10.0, 0.003)
    return CaptureData(Transport(transport_hz=3150.0), Conditions(), {1: track})


def figures(volts: Array) -> dict[str, MeasuredValue]:
    return {f.metric.name: f.figure for f in measure(capture_data(volts))[0] if f.figure}


def reason(volts: Array) -> str:
    found = {f.metric.name: f.reason for f in measure(capture_data(volts))[0]}
    return found["speed_error"] or ""


@given(st.floats(-0.03, 0.03), st.floats(0, 0.003))
@settings(max_examples=8, deadline=None)
def test_closed_form_of_an_error_with_wow(error: float, wow: float) -> None:
    result = figures(played(error, wow))["speed_error"]
    assert result.value == pytest.approx(100 * error, abs=3e-3)
    assert abs(result.value - 100 * error) <= 4 * result.uncertainty + 1e-3


@pytest.mark.parametrize("wow_hz", [5 / 9, 0.75, 1.3])
def test_wow_of_one_turn_is_no_drift(wow_hz: float) -> None:
    """Peak wow of 0.3 % at 33 1/3, 45 and 78 turns a minute leaves a fiftieth at most."""
    assert figures(played(0.01, 0.003, wow_hz))["speed_drift"].value < 0.012


def test_drift_of_a_motor_that_slows() -> None:
    """Means over six windows of a straight line: five sixths of it, less the edges' share."""
    result = figures(played(0.0, 0.001, drift=-0.01))["speed_drift"]
    count = int((T[-1] - 3 * 5.4 / 4) // 5.4)
    assert result.value == pytest.approx(100 * 0.01 * (count - 1) * 5.4 / T[-1], rel=0.02)


def test_an_independent_demodulator_agrees() -> None:
    """scipy's Hilbert transform: slope of the unwrapped phase."""
    volts = played(-0.012, 0.002)
    phase = np.unwrap(np.angle(hilbert(volts)))[8000:-8000]
    hz = np.polyfit(T[8000:-8000], phase, 1)[0] / (2 * np.pi)
    result = figures(volts)["speed_error"]
    assert result.value == pytest.approx(100 * (hz / 3150 - 1), abs=0.01)


def test_refusals() -> None:
    assert "too short" in reason(played(0.0)[: int(10 * RATE)])
    assert "not a tone" in reason(np.random.default_rng(1).standard_normal(len(T)))
    dropped = played(0.0)
    dropped[200_000:220_000] = 1e-3 * np.random.default_rng(3).standard_normal(20_000)
    assert "jumps or drops out" in reason(dropped)


@pytest.mark.parametrize("hz", [30.0, 50.0, 63.0, 97.0])
def test_tones_below_100_hz(hz: float) -> None:
    """Closed form: 1 % fast with wow of one turn."""
    speed = 1.01 + 0.002 * np.cos(2 * np.pi * 5 / 9 * T + 0.4)
    noise = 1e-3 * np.random.default_rng(2).standard_normal(len(T))
    track = Track(np.sin(2 * np.pi * hz * np.cumsum(speed) / RATE) + noise, RATE, 10.0, 0.003)
    taken = CaptureData(Transport(transport_hz=hz), Conditions(), {1: track})
    result = {f.metric.name: f.figure for f in measure(taken)[0] if f.figure}
    assert result["speed_error"].value == pytest.approx(1.0, abs=5e-3)
    assert result["speed_drift"].value < 0.02
