"""Calibrating from a recording as people make it: silence, clicks, a level that is set first."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backbench.bench_day.calibrate import Known, calibrated
from backbench.errors import UserError

RATE = 48_000
KNOWN = Known(vrms=2.0, uncertainty_percent=0.2, since=dt.date(2024, 5, 1))
FULL_SCALE_V = 2 * 2**0.5 * 2
"""Closed form: 2 V rms recorded at half of full scale."""


def sine(seconds: float, peak: float = 0.5, hz: float = 997.0) -> np.ndarray:
    return peak * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE)


def silence(seconds: float) -> np.ndarray:
    return 1e-5 * np.random.default_rng(1).standard_normal(round(seconds * RATE))


def volts(folder: Path, *parts: np.ndarray, clicks_s: tuple[float, ...] = ()) -> dict[str, float]:
    samples = np.concatenate(parts)
    for at in clicks_s:
        samples[round(at * RATE) : round(at * RATE) + 20] = 0.98
    soundfile.write(folder / "tone.wav", np.stack([samples] * 2, axis=1), RATE, subtype="PCM_24")
    return dict(calibrated(folder / "tone.wav", KNOWN, []).volts_peak_at_full_scale)


@pytest.mark.parametrize("hz", [50.0, 60.0, 400.0, 997.0])
def test_silence_before_and_after_does_no_harm(tmp_path: Path, hz: float) -> None:
    result = volts(tmp_path, silence(1.3), sine(4.07, hz=hz), silence(2.6))
    assert result == pytest.approx({"1": FULL_SCALE_V, "2": FULL_SCALE_V}, rel=2e-4)


def test_clicks_of_switches_do_no_harm(tmp_path: Path) -> None:
    result = volts(tmp_path, silence(1), sine(6), silence(1), clicks_s=(0.5, 1.4, 6.2, 7.5))
    assert result == pytest.approx({"1": FULL_SCALE_V, "2": FULL_SCALE_V}, rel=2e-4)


def test_the_level_that_was_set_for_a_moment_is_left_out(tmp_path: Path) -> None:
    rising = sine(1.0) * np.linspace(0.1, 1.0, RATE)
    result = volts(tmp_path, sine(1.0, 0.2), rising, sine(5.0), silence(1))
    assert result == pytest.approx({"1": FULL_SCALE_V, "2": FULL_SCALE_V}, rel=2e-4)


def test_two_levels_of_like_length_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="two steady tones of different levels"):
        volts(tmp_path, sine(3.0, 0.25), silence(0.5), sine(4.0))


def test_nothing_but_clicks_is_no_tone(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="can't be worked out"):
        volts(tmp_path, silence(3), clicks_s=(0.5, 1.0, 1.5))
