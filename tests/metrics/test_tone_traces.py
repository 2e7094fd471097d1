"""A sine in an oscilloscope's trace: closed forms, numpy's own figures, refusals, properties."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.signal.quantisation_step import step_of_many
from backbench.signal.sine_fit import fit_sine
from sine_traces import degrees_apart, instants, sine, sine_trace, step_of
from tones import figures, reasons

SHAPES = [(8, 1000, 5e-3), (10, 2500, 2e-3), (12, 10_000, 0.05), (8, 1200, 0.01), (12, 1000, 0.02)]


@pytest.mark.parametrize(("bits", "points", "seconds"), SHAPES)
@pytest.mark.parametrize("uneven", [False, True])
def test_level_gain_phase_and_frequency(
    bits: int, points: int, seconds: float, uneven: bool
) -> None:
    time = instants(points, seconds, uneven=uneven)
    given = sine(time, 1003.0, 0.5, bits=bits, noise=2e-3, hum=0.01, seed=3)
    out = sine(time, 1003.0, 8.0, phase=0.9, bits=bits, noise=2e-3, hum=0.02)
    result = figures(sine_trace(time, out, 1000.0, given, load=8.0))
    for name, true in {
        "level": 8 / math.sqrt(2), "output_power": 4.0, "gain": 20 * math.log10(16),
        "gain_phase": math.degrees(0.5), "tone_frequency": 1003.0,
    }.items():  # fmt: skip
        assert abs(result[name].value - true) < 3 * result[name].uncertainty, name
    assert result["level"].uncertainty < 2e-3 * result["level"].value
    assert result["polarity"].value == 1.0
    assert "own error was not declared" in str(result["level"].remark)


def test_level_and_phase_as_numpy_has_them_over_whole_periods() -> None:
    """The discrete Fourier transform of whole periods is exact: an independent reference."""
    time = instants(5000, 0.02)
    out = sine(time, 1000.0, 2.0, bits=10, noise=1e-3)
    lines = np.fft.rfft(out) / len(out) * 2
    fit = fit_sine(time, out, 1000.0)
    assert abs(fit.peak - abs(lines[20])) < 2 * fit.u
    starting = fit.phase - 2 * math.pi * fit.hz * fit.centre_s
    apart = degrees_apart(math.degrees(starting), math.degrees(float(np.angle(lines[20]))))
    assert abs(apart) < math.degrees(3 * fit.u / fit.peak)


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("part", [0.0, 1e-3, 3e-3, 0.01, 0.05])
def test_distortion_is_bounded_or_measured(bits: int, part: float) -> None:
    """True distortion is never above the bound, nor farther from the figure than it says."""
    time = instants(4000, 0.01)
    true = 100 * math.hypot(part, part / 3)
    for noise in (0.0, 2e-3):
        out = sine(time, 997.0, 3.0, bits=bits, noise=noise, harmonics={2: part, 3: part / 3})
        thd = figures(sine_trace(time, out, 997.0))["thd"]
        if thd.bound:
            assert true <= thd.value < true + 300 / 2**bits + 0.2
        else:
            assert abs(thd.value - true) < 2 * thd.uncertainty
        assert thd.bound or part * 2**bits > 1.0
        assert thd.bound is None or part * 2**bits < 5.0


def test_declared_limits_are_in_the_uncertainty() -> None:
    time = instants(2000, 0.01)
    result = figures(
        sine_trace(time, sine(time, 1000.0, 1.0), 1000.0, percent_of_reading=3.0)
    )["level"]  # fmt: skip
    assert result.uncertainty == pytest.approx(0.03 / math.sqrt(3) * result.value, rel=0.02)
    assert result.estimation < 0.1 * result.uncertainty
    assert result.remark is None


@pytest.mark.parametrize(
    ("hz", "stated", "part"),
    [(1000.0, 1100.0, "no sine within"), (100.0, 100.0, "too few periods"),
     (60_000.0, 60_000.0, "samples a period")],
)  # fmt: skip
def test_what_is_no_such_sine_is_refused(hz: float, stated: float, part: str) -> None:
    time = instants(2000, 0.01)
    assert part in reasons(sine_trace(time, sine(time, hz, 1.0), stated))["level"][1]


def test_noise_silence_and_a_changing_level_are_refused() -> None:
    time = instants(2000, 0.02)
    noise = np.random.default_rng(1).normal(0, 1, 2000)
    assert (
        "not a sine" in reasons(sine_trace(time, noise, 1000.0))["level"][1]
        or "no sine" in (reasons(sine_trace(time, noise, 1000.0))["level"][1])
    )
    assert "the same" in reasons(sine_trace(time, np.zeros(2000), 1000.0))["level"][1]
    rising = sine(time, 1000.0, 1.0) * np.linspace(0.8, 1.0, 2000)
    assert "changes by" in reasons(sine_trace(time, rising, 1000.0))["level"][1]


@pytest.mark.parametrize("digits", [5, 6, 12])
def test_the_converters_step_is_found_among_many_values(digits: int) -> None:
    time = instants(1000, 0.011)
    volts = sine(time, 997.0, 1.0, bits=12, noise=1e-3)
    printed = np.array([float(f"{v:.{digits}g}") for v in volts])
    step = step_of(1.0, 12)
    assert step_of_many(printed) == pytest.approx(step, rel=0.2)
    assert step_of_many(sine(time, 997.0, 1.0, bits=None, noise=1e-3)) == 0.0
