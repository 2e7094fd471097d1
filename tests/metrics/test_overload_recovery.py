"""Recovery from overload: closed form of a decay, property, independent search, golden value."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Burst
from backbench.metrics.declaration import CaptureData
from tones import figures, reasons, track

RATE = 48_000.0
T = np.arange(int(RATE * 1.8)) / RATE
CLIP = 5.0
FUNDAMENTAL = 2 / math.pi * (math.asin(0.5) + 0.5 * math.sqrt(0.75)) * 10.0
"""Of a sine of 10 V clipped at 5 V."""


def record(tau: float, offset: float, between: float = 0.05, noise: float = 1e-4) -> np.ndarray:
    """Bursts clipped at half their peak; each leaves an offset that decays with tau."""
    since = (T - 0.1) % 0.5
    inside = (T >= 0.1) & (since < 0.02)
    wave = 10.0 * np.sin(2 * np.pi * 1000 * T) * np.where(inside, 1.0, between)
    left = np.where((T >= 0.1) & ~inside, offset * np.exp(-(since - 0.02) / tau), 0.0)
    hiss = np.random.default_rng(3).normal(0, noise, len(T))
    return np.clip(wave, -CLIP, CLIP) + left + hiss


def measured(volts: np.ndarray) -> CaptureData:
    stimulus = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3)
    return CaptureData(
        stimulus, outputs={1: track(volts, RATE)}, conditions=Conditions(load_ohm=8.0),
        mains_hz=50.0,
    )  # fmt: skip


@pytest.mark.parametrize(("tau", "offset"), [(0.01, 1.0), (0.03, -0.7), (0.04, 3.0)])
def test_closed_form_of_a_decay(tau: float, offset: float) -> None:
    """offset e^(-t / tau) is down to 1 % of the crest after tau ln(offset / limit)."""
    expected = tau * math.log(abs(offset) / (0.01 * FUNDAMENTAL))
    found = figures(measured(record(tau, offset)))["overload_recovery"]
    assert found.bound is None
    assert abs(found.value - expected) < 2.5 * found.uncertainty
    assert found.detail == {"within": "1 %"}


@settings(max_examples=8, deadline=None)
@given(st.floats(0.05, 1.5))
def test_gain_makes_no_difference(gain: float) -> None:
    as_is = figures(measured(record(0.02, 1.0)))["overload_recovery"]
    scaled = figures(measured(gain * record(0.02, 1.0)))["overload_recovery"]
    assert scaled.value == pytest.approx(as_is.value, abs=1e-3)


def test_silence_between_the_bursts_will_do() -> None:
    """An independent search: the last sample that is off by more."""
    volts = record(0.02, 1.0, between=0.0)
    pause = np.abs(volts[round(0.12 * RATE) : round(0.59 * RATE)])
    expected = np.flatnonzero(pause > 0.01 * FUNDAMENTAL)[-1] / RATE
    found = figures(measured(volts))["overload_recovery"]
    assert abs(found.value - expected) < 2.5 * found.uncertainty


def test_at_once_is_a_bound_and_never_is_one_too() -> None:
    assert figures(measured(record(0.02, 0.0)))["overload_recovery"].bound == "upper"
    slow = figures(measured(record(0.6, 2.0)))["overload_recovery"]
    assert slow.bound == "lower"
    assert slow.value == pytest.approx(0.32, abs=0.02)


def test_what_was_not_overloaded_and_what_is_hidden() -> None:
    gentle = reasons(measured(record(0.02, 0.0) * 0 + 0.4 * np.sin(2 * np.pi * 1000 * T) * np.where(
        (T >= 0.1) & ((T - 0.1) % 0.5 < 0.02), 1.0, 0.1
    ) + np.random.default_rng(1).normal(0, 1e-5, len(T))))  # fmt: skip
    assert gentle["overload_recovery"][0] == "not_applicable"
    noisy = reasons(measured(record(0.02, 1.0, noise=0.03)))
    assert "noise or hum" in noisy["overload_recovery"][1]


def test_golden() -> None:
    found = figures(measured(record(0.025, 1.0)))["overload_recovery"]
    assert found.value == pytest.approx(0.0695, abs=5e-4)
