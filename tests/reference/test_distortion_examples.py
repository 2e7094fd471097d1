"""Distortion figures of signals whose harmonics are known in closed form or from a handbook."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tones import figures, sines, tone_material, track

RATE = 48_000.0


def clipped(period: int, limit: float) -> np.ndarray:
    """One second of a sine of peak 1 V, clipped, a whole number of samples to a period."""
    return np.clip(np.sin(2 * np.pi * np.arange(int(RATE)) / period), -limit, limit)


def test_harmonics_of_one_tenth_a_twentieth_and_a_fiftieth() -> None:
    """Harmonics 1, .1, .05, .02: worked example of the definitions in IEC 60268-3, 14.12
    (second-hand, an open library's test data; recomputed). To 1e-6.
    """
    result = figures(tone_material(track(sines(RATE, 1.0, {
        1000.0: 1.0, 2000.0: 0.1, 3000.0: 0.05, 4000.0: 0.02,
    }))))  # fmt: skip
    assert result["thd"].value == pytest.approx(11.35782, abs=1e-5)
    assert result["thd"].value / 100 == pytest.approx(math.sqrt(0.0129), abs=1e-6)
    assert result["thd_total"].value / 100 == pytest.approx(math.sqrt(0.0129 / 1.0129), abs=1e-6)
    assert result["thd_wide"].value / 100 == pytest.approx(math.sqrt(0.0129), abs=1e-6)
    assert result["thd_n"].value / 100 == pytest.approx(math.sqrt(0.0129 / 1.0129), abs=1e-6)
    for order, share in {2: 0.1, 3: 0.05, 4: 0.02}.items():
        assert result[f"harmonic {order}"].value == pytest.approx(20 * math.log10(share), abs=1e-5)


def test_hard_clip_sampled_48_to_a_period() -> None:
    """Sine clipped at 0.7, 48 samples a period, harmonics to the 10th: 0.1379448, b1 .8124127,
    b3 .1087038, b5 .0205014, b7 .0165310, b9 .0070120 (second-hand, an open library's test
    data; recomputed).
    """
    result = figures(tone_material(track(clipped(48, 0.7))))
    assert result["thd"].value / 100 == pytest.approx(0.1379448, abs=1e-6)
    assert result["level"].value * math.sqrt(2) == pytest.approx(0.8124127, abs=1e-6)
    for order, peak in {3: 0.1087038, 5: 0.0205014, 7: 0.0165310, 9: 0.0070120}.items():
        ratio = 10 ** (result[f"harmonic {order}"].value / 20)
        assert ratio * 0.8124127 == pytest.approx(peak, abs=2e-7)


def test_square_wave_by_its_fourier_series() -> None:
    """Harmonics 4 / (pi n), n odd: computed. The record is made from the series itself, so that
    no image of a sampled edge lies on a harmonic; all to 20 kHz, 1/n^2 summed.
    """
    odd = range(1, 20, 2)
    result = figures(tone_material(track(sines(RATE, 1.0, {1000.0 * n: 1 / n for n in odd}))))
    expected = math.sqrt(sum(1 / n**2 for n in odd if n > 1))
    assert result["thd_wide"].value / 100 == pytest.approx(expected, abs=1e-6)
    to_tenth = math.sqrt(sum(1 / n**2 for n in (3, 5, 7, 9)))
    assert result["thd"].value / 100 == pytest.approx(to_tenth, abs=1e-6)


def test_series_of_the_square_reaches_its_closed_form() -> None:
    """THD of a square, sqrt(pi^2 / 8 - 1) = 0.4834258 (computed), needs every harmonic: what
    a 10 Hz step of frequency below 20 kHz leaves out is the tail, about 1 / (2 * 200).
    """
    odd = range(1, 1000, 2)
    square = track(sines(RATE, 2.0, {20.0 * n: 1 / n for n in odd}))
    # Beside a mains of 50 Hz harmonics at its multiples would be bounds.
    result = figures(tone_material(square, hz=20.0, mains_hz=None))
    tail = sum(1 / n**2 for n in range(1001, 2_000_001, 2))
    whole = math.sqrt((result["thd_wide"].value / 100) ** 2 + tail)
    assert whole == pytest.approx(0.4834258476, abs=1e-5)


def test_decibels_and_powers_of_common_voltages() -> None:
    """2.828427 V into 8 ohm is 1 W (computed)."""
    from backbench.documents.manifest import Conditions

    loaded = tone_material(
        track(sines(RATE, 1.0, {1000.0: 4.0})), conditions=Conditions(load_ohm=8.0)
    )
    assert figures(loaded)["output_power"].value == pytest.approx(1.0, rel=1e-9)
    assert figures(loaded)["level"].value == pytest.approx(2.8284271247, rel=1e-9)
