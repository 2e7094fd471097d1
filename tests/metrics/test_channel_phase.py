"""Phase and polarity between the channels of one record."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tones import figures, reasons, tone_material, track

NAMES = {1: "left", 2: "right"}
T = np.arange(12_000) / 48_000


def sine(degrees: float, hz: float = 1000.0, noise: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(int(abs(degrees)) + 1)
    return np.cos(2 * np.pi * hz * T + np.radians(degrees)) + noise * rng.standard_normal(len(T))


@given(st.floats(-170, 170), st.floats(990, 1010))
@settings(max_examples=20, deadline=None)
def test_closed_form_of_two_phases(degrees: float, hz: float) -> None:
    # Two converters never give the same samples; tracks that do are refused as copies.
    other = sine(0.0, hz)
    other += np.random.default_rng(1).normal(0, 1e-5, len(other))
    capture_data = tone_material(track(sine(degrees, hz)), track(other), names=NAMES)
    result = figures(capture_data)["channel_phase"]
    assert result.value == pytest.approx(degrees, abs=1e-3)
    assert result.detail == {"against": "right"}


def test_swapping_tracks_turns_the_sign() -> None:
    a, b = track(sine(12.0)), track(sine(-5.0))
    one = figures(tone_material(a, b, names=NAMES))["channel_phase"].value
    other = figures(tone_material(b, a, names=NAMES))["channel_phase"].value
    assert one == pytest.approx(17.0, abs=1e-3)
    assert other == pytest.approx(-one, abs=1e-9)


def test_a_reversed_channel() -> None:
    capture_data = tone_material(track(-sine(3.0)), track(sine(0.0)), names=NAMES)
    assert figures(capture_data)["channel_polarity"].value == -1.0
    capture_data = tone_material(track(sine(3.0)), track(sine(0.0)), names=NAMES)
    assert figures(capture_data)["channel_polarity"].value == 1.0
    status, reason = reasons(
        tone_material(track(sine(85.0)), track(sine(0.0)), names=NAMES)
    )["channel_polarity"]  # fmt: skip
    assert status == "rejected"
    assert "neither polarity" in reason


def test_the_uncertainty_covers_the_noise() -> None:
    """Independent reference: correlation of the two tracks with the known tone."""
    errors, widths = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        left, right = (sine(0.0) + 0.01 * rng.standard_normal(len(T)) for _ in range(2))
        turn = np.exp(-2j * np.pi * 1000 * T)
        direct = np.degrees(np.angle(np.sum(left * turn) / np.sum(right * turn)))
        result = figures(tone_material(track(left), track(right), names=NAMES))["channel_phase"]
        assert result.value == pytest.approx(direct, abs=4 * result.uncertainty)
        errors.append(result.value)
        widths.append(result.uncertainty)
    assert 0.5 < np.std(errors) / np.mean(widths) < 2.0


def test_only_given_for_the_left_of_two() -> None:
    capture_data = tone_material(track(sine(1.0)), track(sine(0.0)), names=NAMES)
    assert "channel_phase" not in figures(capture_data, 2)
    assert "channel_phase" not in figures(tone_material(track(sine(1.0)), names={1: "left"}))
