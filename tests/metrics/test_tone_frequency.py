"""Frequency of a tone, and what its clock is off by."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from tones import figures, reasons, sines, tone_material, track

RATE = 48_000.0


@settings(max_examples=15, deadline=None)
@given(st.floats(-200, 200), st.floats(0, 3))
def test_a_clean_tone_off_by_some_ppm(ppm: float, phase: float) -> None:
    volts = sines(RATE, 1.0, {1000 * (1 + 1e-6 * ppm): 1.0}, phase=phase)
    result = figures(tone_material(track(volts)))
    error = result["clock_error"]
    assert abs(error.value - ppm) <= 3 * error.uncertainty
    assert error.uncertainty < 1.0
    assert result["tone_frequency"].value == pytest.approx(1000 * (1 + 1e-6 * error.value))


def test_noise_scatters_it_as_reported() -> None:
    """Against the truth in 40 records, and a least-squares sine of scipy in the last."""
    rng, hz = np.random.default_rng(8), 997.013
    clean = sines(RATE, 1.0, {hz: 1.0})
    scores = []
    for _ in range(40):
        noisy = clean + 0.03 * rng.standard_normal(len(clean))
        result = figures(tone_material(track(noisy), hz=997.0))["tone_frequency"]
        scores.append((result.value - hz) / result.uncertainty)
    assert np.sqrt(np.mean(np.square(scores))) == pytest.approx(0.85, abs=0.3)
    t = np.arange(len(noisy)) / RATE
    (_, fitted, _), _ = curve_fit(
        lambda t, a, f, p: a * np.cos(2 * np.pi * f * t + p), t, noisy, p0=(1.0, hz, 0.3)
    )
    assert abs(result.value - fitted) < 3 * result.uncertainty


def test_an_output_that_idles_has_none() -> None:
    held = tone_material(
        track(sines(RATE, 1.0, {1000.0: 1.0})), track(sines(RATE, 1.0, {1000.0: 1e-3})),
        driven_track=1,
    )  # fmt: skip
    assert reasons(held, 2)["clock_error"][0] == "not_applicable"
