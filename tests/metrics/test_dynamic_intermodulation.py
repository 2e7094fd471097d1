"""Dynamic intermodulation: nine products of a square wave and a sine, re the sine."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.bench_day.stimulus_waveforms import wave
from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import SquareAndSine
from backbench.metrics.declaration import CaptureData
from tones import figures, reasons, track

RATE = 96_000
PAIR = (3160.0, 15_005.0)


def stimulus(pair: tuple[float, float] = PAIR) -> SquareAndSine:
    return SquareAndSine(square_and_sine_hz=list(pair), low_pass_hz=30_000, generator_vrms=1.0)


def capture(volts: np.ndarray, rate: float = RATE, **kept: object) -> CaptureData:
    noisy = volts + np.random.default_rng(1).normal(0, 2e-5, len(volts))
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return CaptureData(stimulus(), outputs={1: track(noisy, rate)}, **given)  # type: ignore[arg-type]


def played() -> np.ndarray:
    made = wave(stimulus(), RATE)
    return made.volts[round(made.keep[0] * RATE) : round(made.keep[1] * RATE)]


def sine(hz: float, peak: float) -> np.ndarray:
    return peak * np.sin(2 * np.pi * hz * np.arange(len(played())) / RATE + 0.4)


def test_what_is_played_has_the_level_and_the_ratio() -> None:
    """Closed form: a square wave has 4 / pi of its peak as its fundamental, here low-passed by
    1 / sqrt(1 + (3160 / 30000)^2); the sine has a quarter of the peak."""
    volts = played()
    assert np.sqrt(np.mean(volts**2)) == pytest.approx(1.0, rel=1e-3)
    t = np.arange(len(volts)) / RATE
    window = np.hanning(len(volts))
    square, tone = (abs(np.sum(window * volts * np.exp(-2j * np.pi * hz * t))) for hz in PAIR)
    ratio = 4 / math.pi / math.sqrt(1 + (PAIR[0] / 30_000) ** 2) / 0.25
    assert square / tone == pytest.approx(ratio, rel=1e-3)


def test_products_are_the_root_sum_square_re_the_sine() -> None:
    """Closed form: nine lines of given peaks re that of the sine."""
    volts, (square, tone) = played(), PAIR
    t = np.arange(len(volts)) / RATE
    own = 2 * abs(np.mean(np.hanning(len(t)) * 2 * volts * np.exp(-2j * np.pi * tone * t)))
    peaks = {k: 1e-3 * own * (1 + k / 10) for k in range(1, 10)}
    for k, peak in peaks.items():
        volts = volts + sine(abs(k * square - tone), peak)
    found = figures(capture(volts))["dynamic_intermodulation"]
    expected = 100 * math.sqrt(sum(p**2 for p in peaks.values())) / own
    assert found.value == pytest.approx(expected, abs=3 * found.uncertainty + 0.005 * expected)
    assert found.detail == {"low-pass": "30 kHz"}
    assert found.bound is None


def test_half_of_the_products_is_half_of_the_distortion() -> None:
    """Property, and other lines (harmonics of the square wave) count for nothing."""
    line = sine(abs(5 * PAIR[0] - PAIR[1]), 1e-3)
    odd = sine(3 * PAIR[0], 0.01)
    whole, half, other = (
        figures(capture(played() + more))["dynamic_intermodulation"].value
        for more in (line, line / 2, line + odd)
    )
    assert whole == pytest.approx(2 * half, rel=0.02)
    assert other == pytest.approx(whole, rel=0.02)


def test_a_bent_transfer_beside_its_own_products() -> None:
    """Independent: the waveform is bent by numpy and its products summed by numpy's transform."""
    volts = played()[:RATE]
    bent = volts + 0.01 * volts**2 - 0.02 * volts**3
    found = figures(capture(bent))["dynamic_intermodulation"]
    t, window = np.arange(len(bent)) / RATE, np.hanning(len(bent)) ** 2

    def line(hz: float) -> float:
        return float(abs(np.sum(window * bent * np.exp(-2j * np.pi * hz * t))))

    products = [line(abs(k * PAIR[0] - PAIR[1])) for k in range(1, 10)]
    expected = 100 * math.sqrt(sum(p**2 for p in products)) / line(PAIR[1])
    assert found.value == pytest.approx(expected, rel=0.02)


def test_without_products_it_is_a_bound_and_without_the_sine_there_is_none() -> None:
    assert figures(capture(played()))["dynamic_intermodulation"].bound == "upper"
    t = np.arange(len(played())) / RATE
    square = sum(np.sin(2 * np.pi * k * PAIR[0] * t) / k for k in range(1, 13, 2))
    status, reason = reasons(capture(np.asarray(square)))["dynamic_intermodulation"]
    assert status == "rejected"
    assert reason
