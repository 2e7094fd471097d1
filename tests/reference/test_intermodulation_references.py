"""Intermodulation and equivalent bits against published definitions and another program."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import butter, hilbert, periodogram, sosfiltfilt

from many_tones import RATE, multitone_material, pair_material, with_noise
from tones import figures, sines, tone_material, track


def test_total_difference_frequency_worked_example() -> None:
    """IEC 60268-3:2013, 14.12.10: tones of 0.5 each, products of 0.02 at 3.95 kHz and 0.03 at
    4.05 kHz give 0.0360555 (second-hand, and computed)."""
    peaks = {8000.0: 0.5, 11_950.0: 0.5, 3950.0: 0.02, 4050.0: 0.03}
    volts = with_noise(sines(RATE, 0.5, peaks), 1e-7)
    result = figures(pair_material(track(volts, RATE), hz=(8000.0, 11_950.0)))
    assert result["difference_frequency_total"].value == pytest.approx(3.60555, rel=1e-5)


@pytest.mark.parametrize("depth", [0.003, 0.05])
def test_amplitude_modulation_reads_its_depth_and_3_db_less(depth: float) -> None:
    """Amplitude modulation of depth m has two sidebands of m / 2: the arithmetic sum of IEC
    60268-3, 14.12.7, is m, the root sum square of SMPTE RP 120 is m / sqrt(2), 3.01 dB lower
    (computed from the definitions, which were read second-hand)."""
    t = np.arange(int(0.5 * RATE)) / RATE
    low = 4 * np.cos(2 * np.pi * 60 * t)
    high = (1 + depth * np.cos(2 * np.pi * 60 * t + 0.7)) * np.cos(2 * np.pi * 7000 * t)
    volts = with_noise(low + high, 1e-7)
    record = track(volts, RATE)
    result = figures(pair_material(record, hz=(60.0, 7000.0), ratio=4.0, mains_hz=None))
    assert result["modulation_distortion_2"].value == pytest.approx(100 * depth, rel=1e-5)
    assert result["modulation_distortion_rms"].value == pytest.approx(
        100 * depth / math.sqrt(2), rel=1e-4
    )


@pytest.mark.parametrize(("square", "cube"), [(2e-3, 0.0), (0.0, 1e-3), (1e-3, 1e-3)])
def test_modulation_distortion_is_what_a_demodulator_shows(square: float, cube: float) -> None:
    """The analogue meter out of scipy's parts: high-pass, envelope, its rms re a sine of its peak.

    Its circuit (high-pass at 2 kHz, demodulator, low-pass, rms-marked meter) is common practice.
    """
    x = sines(RATE, 1.0, {60.0: 2.0, 7000.0: 0.5})
    volts = x + square * x**2 + cube * x**3
    passed = sosfiltfilt(butter(6, (2000.0, 12_000.0), "bandpass", fs=RATE, output="sos"), volts)
    envelope = np.abs(hilbert(passed))[int(0.2 * RATE) : int(0.8 * RATE)]
    shown = 100 * math.sqrt(2) * float(envelope.std() / envelope.mean())
    noisy = with_noise(volts, 1e-6)
    record = track(noisy, RATE)
    result = figures(pair_material(record, hz=(60.0, 7000.0), ratio=4.0, mains_hz=None))
    assert result["modulation_distortion"].value == pytest.approx(shown, rel=5e-3)


def test_products_against_a_least_squares_fit() -> None:
    """numpy's least squares with every line's cosine and sine, on the same samples."""
    hz = (19_003.0, 20_007.0)
    x = sines(RATE, 0.4, dict.fromkeys(hz, 1.0))
    volts = with_noise(x + 2e-3 * x**2 - 3e-3 * x**3, 1e-6)
    t = np.arange(len(volts)) / RATE
    lines = {abs(m * hz[0] + n * hz[1]) for m in range(-3, 4) for n in range(4)}
    known = sorted(f for f in lines if f < 48_000)
    basis = np.column_stack([g(2 * np.pi * f * t) for f in known for g in (np.cos, np.sin)])
    fit = np.linalg.lstsq(basis, volts, rcond=None)[0]
    peak = dict(zip(known, np.hypot(fit[::2], fit[1::2]), strict=True))
    whole = peak[hz[0]] + peak[hz[1]]
    result = figures(pair_material(track(volts, RATE), hz=hz))
    assert result["difference_frequency_2"].value == pytest.approx(
        100 * peak[hz[1] - hz[0]] / whole, rel=1e-3
    )
    third = peak[2 * hz[0] - hz[1]] + peak[2 * hz[1] - hz[0]]
    assert result["difference_frequency_3"].value == pytest.approx(100 * third / whole, rel=1e-3)


def test_between_tones_against_scipy() -> None:
    """Whole periods in the record, so that scipy.signal.periodogram needs no window."""
    t = np.arange(int(0.5 * RATE)) / RATE
    hz = (100.0, 1000.0, 5000.0, 15_000.0)
    x = sum(0.3 * np.cos(2 * np.pi * f * t + f) for f in hz)
    volts = with_noise(x + 1e-3 * x**2 + 5e-3 * x**3, 1e-5)
    f, density = periodogram(volts, RATE, window="boxcar", detrend=False)
    inside = (f >= 20) & (f <= 20_000) & ~np.isin(np.round(f, 6), hz)
    expected = math.sqrt(float(density[inside].sum()) * 2.0)
    result = figures(multitone_material(track(volts, RATE), hz=hz))
    assert result["between_tones"].value == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_equivalent_bits_of_an_ideal_quantiser(bits: int) -> None:
    """IEEE 1241 (from memory): an ideal converter of N bits has SINAD 6.0206 N + 1.7609 dB over
    half the sample rate; 20 Hz to 20 kHz leaves 19 980 / 24 000 of its noise."""
    rate = 48_000.0
    amplitude = 1 - 2.0**-bits
    volts = sines(rate, 1.0, {997.37: amplitude})
    step = 2.0 / 2**bits
    # The steps are the unit's: a recorder of finer ones takes them with a little noise.
    noise = step / 30 * np.random.default_rng(4).normal(size=len(volts))
    quantised = (np.floor(volts / step) + 0.5) * step + noise
    result = figures(tone_material(track(quantised, rate, full_scale_v=1.5), hz=997.37))
    expected = bits + 0.5 * math.log2(24_000 / 19_980)
    assert result["equivalent_bits"].value == pytest.approx(expected, abs=0.05)
    whole = result["sinad"].value + 10 * math.log10(19_980 / 24_000)
    assert whole == pytest.approx(6.0206 * bits + 1.7609, abs=0.3)
