"""Distortion and noise whose size is known in closed form, and by an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import welch

from tones import figures, idle_material, tone_material, track

RATE = 96_000.0
HZ = 997.0


def sine(peak: float, seconds: float = 1.0) -> np.ndarray:
    return peak * np.cos(2 * np.pi * HZ * np.arange(int(seconds * RATE)) / RATE)


@pytest.mark.parametrize("peak", [0.1, 1.0, 3.0])
def test_quadratic_transfer(peak: float) -> None:
    """y = x + a x^2: second harmonic a A / 2 of the fundamental, DC a A^2 / 2 (closed form)."""
    x = sine(peak)
    result = figures(tone_material(track(x + 0.02 * x**2, RATE), hz=HZ))
    assert result["thd"].value == pytest.approx(100 * 0.02 * peak / 2, rel=1e-6)
    assert result["even_harmonics"].value == pytest.approx(result["thd"].value, rel=1e-6)
    assert result["dominant_harmonic"].value == 2
    assert result["dc_offset"].value == pytest.approx(0.02 * peak**2 / 2, rel=1e-6)


@pytest.mark.parametrize("peak", [0.1, 1.0, 3.0])
def test_cubic_transfer(peak: float) -> None:
    """y = x + b x^3: third harmonic b A^2 / 4 over 1 + 3 b A^2 / 4 (closed form)."""
    b, x = 0.01, sine(peak)
    result = figures(tone_material(track(x + b * x**3, RATE), hz=HZ))
    first = 1 + 0.75 * b * peak**2
    assert result["thd"].value == pytest.approx(100 * 0.25 * b * peak**2 / first, rel=1e-6)
    assert result["odd_harmonics"].value == pytest.approx(result["thd"].value, rel=1e-6)
    assert result["level"].value == pytest.approx(peak * first / math.sqrt(2), rel=1e-9)


def test_hard_clipping_by_its_fourier_series() -> None:
    """Sine clipped at 0.7 of its peak, made from its series so that nothing is mirrored: b1
    .8118796 and THD .1375879 over all harmonics (closed form, also second-hand).
    """
    limit, t = math.asin(0.7), np.arange(int(RATE)) / RATE
    volts = np.zeros(len(t))
    heights = {}
    for n in range(1, 400, 2):
        if n == 1:
            b = (2 * limit - math.sin(2 * limit)) / math.pi + 4 * 0.7 * math.cos(limit) / math.pi
        else:
            inner = math.sin((n - 1) * limit) / (n - 1) - math.sin((n + 1) * limit) / (n + 1)
            b = 2 / math.pi * inner + 4 * 0.7 * math.cos(n * limit) / (n * math.pi)
        heights[n] = b
        if n * 200 < 20_000:
            volts += b * np.sin(2 * np.pi * n * 200 * t)
    assert heights[1] == pytest.approx(0.8118796, abs=1e-7)
    result = figures(tone_material(track(volts, RATE), hz=200.0))
    tail = sum(b**2 for n, b in heights.items() if n * 200 >= 20_000) / heights[1] ** 2
    whole = math.sqrt((result["thd_wide"].value / 100) ** 2 + tail)
    assert whole == pytest.approx(0.1375879, abs=2e-6)


@pytest.mark.parametrize("bits", [10, 12, 16])
def test_quantised_sine(bits: int) -> None:
    """An ideal converter of N bits gives 6.0206 N + 1.7609 dB over its whole band (IEEE 1241;
    formula from memory); 20 Hz to 20 kHz holds 19 980 of 48 000 Hz of that noise.
    """
    step = 2.0 / 2**bits
    rng = np.random.default_rng(1)
    result = []
    for _ in range(6):
        t = np.arange(int(RATE)) / RATE
        volts = np.cos(2 * np.pi * (HZ + rng.uniform(-3, 3)) * t + rng.uniform(0, 6))
        # The steps are the unit's: a recorder of finer ones takes them with a little noise.
        volts = np.round(volts / step) * step + step / 30 * rng.normal(size=len(t))
        result.append(figures(tone_material(track(volts, RATE), hz=HZ))["sinad"].value)
    expected = 6.0206 * bits + 1.7609 + 10 * math.log10(48_000 / 19_980)
    assert np.mean(result) == pytest.approx(expected, abs=0.3)


def test_noise_and_hiss_agree_with_an_averaged_spectrum() -> None:
    """scipy.signal.welch on noise that falls towards high frequencies."""
    rng = np.random.default_rng(3)
    white = rng.normal(0, 1e-4, int(4 * RATE))
    volts = white + 0.5 * np.concatenate([[0.0], white[:-1]])
    result = figures(idle_material(track(volts, RATE)))
    frequency, density = welch(volts, RATE, nperseg=9600, noverlap=4800)
    band = (frequency >= 20) & (frequency <= 20_000)
    power = float(np.sum(density[band]) * (frequency[1] - frequency[0]))
    assert result["noise"].value == pytest.approx(math.sqrt(power), rel=5e-3)
    middle = (frequency >= 1000) & (frequency <= 10_000)
    assert result["hiss"].value == pytest.approx(math.sqrt(np.median(density[middle])), rel=0.02)
