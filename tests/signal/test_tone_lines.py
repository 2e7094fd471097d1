"""Frequency, amplitude and phase of lines read from one spectrum."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.signal.background import background
from backbench.signal.spectrum import peak_position, read_lines, spectrum
from backbench.signal.tone_search import find_tone, is_square_wave
from backbench.signal.track import Track
from tones import sines, track

RATES = (44_100.0, 48_000.0, 96_000.0, 192_000.0)


@settings(max_examples=40, deadline=None)
@given(
    rate=st.sampled_from(RATES), seconds=st.floats(0.3, 1.0), share=st.floats(0, 1),
    phase=st.floats(-3, 3), peak=st.floats(1e-3, 5), steady=st.floats(-1, 1),
)  # fmt: skip
def test_any_tone_is_read_exactly(
    rate: float, seconds: float, share: float, phase: float, peak: float, steady: float
) -> None:
    """Without noise: 40 Hz (or 16 periods) to 20 kHz, any rate, length, phase and DC."""
    lowest = max(40.0, 16.5 / seconds)
    frequency = lowest * (20_000 / lowest) ** share
    volts = sines(rate, seconds, {frequency: peak}, phase=phase) + steady * peak
    lines = find_tone(track(volts, rate), frequency, None)
    assert lines.frequency_hz == pytest.approx(frequency, rel=1e-9)
    assert lines.fundamental.rms == pytest.approx(peak / np.sqrt(2), rel=1e-8)
    assert lines.spectrum.mean == pytest.approx(steady * peak, abs=1e-8 * peak)
    middle = phase + 2 * np.pi * frequency * lines.spectrum.length / 2 / rate
    assert np.cos(lines.phase - middle) == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize(("hz", "seconds"), [(20.0, 0.55), (30.0, 0.5)])
def test_few_periods_are_read_with_the_narrower_window(hz: float, seconds: float) -> None:
    volts = sines(48_000.0, seconds, {hz: 1.0, 2 * hz: 1e-2}) + 0.1
    lines = find_tone(track(volts), hz, None)
    assert len(lines.spectrum.window.terms) == 4
    assert lines.fundamental.rms == pytest.approx(np.sqrt(0.5), rel=1e-4)
    assert lines.harmonics(2).one(2).rms == pytest.approx(1e-2 * np.sqrt(0.5), rel=1e-2)


@pytest.mark.parametrize("ppm", [20, 50])
def test_a_drifting_generator_costs_nothing(ppm: float) -> None:
    """The tone drifts steadily by so many parts in a million within the second."""
    rate = 192_000.0
    t = np.arange(int(rate)) / rate
    turns = 2 * np.pi * 20_000 * (t + ppm * 1e-6 * t**2 / 2)
    volts = np.cos(turns) + 1e-2 * np.cos(2 * turns)
    volts += np.random.default_rng(5).normal(0, 1e-6, len(t))
    lines = find_tone(track(volts, rate), 20_000.0, None)
    assert lines.fundamental.rms == pytest.approx(np.sqrt(0.5), rel=1e-6)
    assert lines.harmonics(2).one(2).rms == pytest.approx(1e-2 * np.sqrt(0.5), rel=1e-3)


def test_a_spectrum_is_made_once_for_a_track() -> None:
    one = track(sines(48_000.0, 0.3, {997.0: 1.0}))
    assert spectrum(one) is spectrum(one)


def test_the_power_of_a_lobe_is_that_of_its_line() -> None:
    result = spectrum(track(sines(48_000.0, 0.5, {1234.5: 2.0})))
    assert result.power.sum() == pytest.approx(2.0, rel=1e-9)
    peak = int(np.argmax(result.power))
    lines = read_lines(result, np.array([peak_position(result, peak)]))
    assert lines.square[0] == pytest.approx(2.0, rel=1e-9)


def test_the_background_is_the_noise_between_lines() -> None:
    """White noise of 1 mV rms, with lines a million times as strong in every hundredth bin."""
    rng = np.random.default_rng(2)
    result = spectrum(track(rng.normal(0, 1e-3, 96_000)))
    power = result.power.copy()
    power[::100] = 1.0
    level = background(power, np.ones(len(power), dtype=bool), len(power))
    expected = 1e-6 / (len(power) - 1)
    assert np.median(level[2000:]) == pytest.approx(expected, rel=0.05)
    assert np.all(level[2000:] < 1.5 * expected)


TIME = np.arange(96_000) / 96_000


@pytest.mark.parametrize("cut", [0.25, 0.5, 0.9, 1.0])
def test_a_sine_that_clips_is_a_tone(cut: float) -> None:
    wave = np.clip(np.sin(2 * np.pi * 997 * TIME), -cut, cut)
    wave += np.random.default_rng(2).normal(0, 1e-4, wave.size)  # the bench's, on the tops too
    assert not is_square_wave(find_tone(Track(wave, 96_000.0, 2.0, 0.001), 997.0, None))


@pytest.mark.parametrize("rising", [1, -1])
def test_a_square_wave_is_no_tone(rising: int) -> None:
    odd = np.arange(1, 48, 2)  # the Fourier series of a square wave, up to half the sample rate
    wave = rising * (np.sin(2 * np.pi * 997 * np.outer(TIME, odd)) / odd).sum(axis=1)
    assert is_square_wave(find_tone(Track(wave, 96_000.0, 2.0, 0.001), 997.0, None))
