"""Gain compression, onset of clipping, least power at a limit, power bandwidth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.metrics.session import Derived, Promised, Reading, RefusedDerivation
from bench_readings import derived, one, reading, refused

RATED = Promised("amp", "thd", "at most", 0.5, frequency_hz=1000.0, power_w=20.0)


def level(power: float, percent: float, drive: float, **more: object) -> list[Reading]:
    same = {"power_w": power, "generator_vrms": drive, **more}
    return [
        reading("output_power", power, 0.011, 1e-4, **same),
        reading("thd_wide", percent, 1e-3, 1e-3, **same),
        reading("thd", percent, 1e-3, 1e-3, **same),
        reading("gain", 20.0, 0.002, 1e-4, **same),
    ]


def hard_clipped(amplitude: float, clip: float) -> tuple[float, float]:
    """Fundamental amplitude and THD in percent of a sine clipped at +-clip, by numbers."""
    t = np.arange(4096) / 4096
    wave = np.clip(amplitude * np.sin(2 * np.pi * t), -clip, clip)
    lines = np.abs(np.fft.rfft(wave)) / 2048
    return float(lines[1]), float(100 * np.sqrt(np.sum(lines[2:20] ** 2)) / lines[1])


@given(st.floats(5, 30), st.floats(1.06, 1.4))
def test_onset_of_a_hard_clipper_is_its_clipping_power(clip: float, ratio: float) -> None:
    """Closed form: clipping begins at clip^2 / 2 R; below it a constant 0.01 % is added."""
    readings = []
    for n in range(24):
        amplitude = 1.0 * ratio ** (2 * n)
        if amplitude > 1.6 * clip:
            break
        first, thd = hard_clipped(amplitude, clip)
        readings += level(first**2 / 16, math.hypot(thd, 0.01), 0.01 * amplitude)
    given_ = derived("clipping_onset", readings)
    if not given_ or not isinstance(given_[0], Derived) or given_[0].figure.bound:
        return
    figure = given_[0].figure
    relative = figure.uncertainty / figure.value
    assert abs(math.log(figure.value / (clip**2 / 16))) <= 1.01 * math.sqrt(3) * relative


def test_an_output_that_never_clips_gives_a_lower_bound() -> None:
    """Second harmonic alone, as the root of power: only within the last step it might turn up."""
    readings = [r for n in range(8) for r in level(2.0**n, 0.1 * 2 ** (n / 2), 0.1 * 2 ** (n / 2))]
    result = one("clipping_onset", readings)
    assert result.figure.value == pytest.approx(64.0)
    assert result.figure.bound == "lower"


def test_least_power_at_a_limit_is_the_fall_before_the_last_rise() -> None:
    watts, percent = [0.1, 1, 5, 8, 10, 20], [5, 0.2, 2, 0.5, 0.5, 4.5]
    readings = [r for w, p in zip(watts, percent, strict=True) for r in level(w, p, math.sqrt(w))]
    result = {
        d.figure.limit_percent: d.figure.value
        for d in derived("least_power_at_limit", readings) if isinstance(d, Derived)
    }  # fmt: skip
    assert result[1.0] == pytest.approx(5 * (8 / 5) ** (math.log(2) / math.log(4)))
    assert result[3.0] == pytest.approx(math.sqrt(0.1))
    assert set(result) == {1.0, 3.0}


def test_the_published_limit_is_added() -> None:
    readings = [r for w, p in ((1, 0.05), (10, 0.1), (20, 2)) for r in level(w, p, math.sqrt(w))]
    given_ = derived("power_at_limit", readings, promised=[RATED])
    limits = [d.figure.limit_percent if isinstance(d, Derived) else d.limit_percent for d in given_]
    assert limits == [0.1, 0.5, 1.0, 3.0, 10.0]
    others = [Promised("other", "thd", "at most", 0.5, power_w=20.0)]
    assert len(derived("power_at_limit", readings, promised=others)) == 4


def test_compression_is_the_fall_of_gain_from_the_smallest_level() -> None:
    readings = []
    for n, fall in enumerate([0.0, 0.1, 0.5]):
        readings.append(
            reading("gain", 26.0 - fall, 0.002, 1e-4, generator_vrms=0.1 * 2**n, power_w=4.0**n)
        )
    result = derived("gain_compression", readings[::-1])
    values = [d.figure.value for d in result if isinstance(d, Derived)]
    assert values == pytest.approx([-0.1, -0.5])
    assert [d.power_w for d in result if isinstance(d, Derived)] == [4.0, 16.0]
    assert all(d.figure.uncertainty >= 0.05 for d in result if isinstance(d, Derived))
    assert derived("gain_compression", readings[:2]) == []


@given(st.floats(0.1, 3.0))
def test_compression_does_not_depend_on_the_scale(scale: float) -> None:
    def compressed(shift: float) -> list[float]:
        gains = [
            reading("gain", 20 + shift - 0.2 * n, 0.002, 1e-4, generator_vrms=scale * 0.1 * 2**n)
            for n in range(4)
        ]
        return [d.figure.value for d in derived("gain_compression", gains)]  # type: ignore[union-attr]

    assert compressed(0.0) == pytest.approx(compressed(7.0), abs=1e-9)


def at_frequencies(percent: dict[float, float], power: float = 12.0) -> list[Reading]:
    return [r for hz, p in percent.items() for r in level(power, p, 0.5, frequency_hz=hz)]


def test_power_bandwidth_lies_between_within_and_without() -> None:
    readings = at_frequencies({20.0: 2.0, 40.0: 0.4, 1000.0: 0.1, 10e3: 0.3, 20e3: 0.9})
    context = {"promised": [RATED], "rated_power_w": {"amp": 20.0}}
    low, high = one("power_bandwidth_low", readings, **context), None
    assert low.figure.value == pytest.approx(math.sqrt(800))
    assert low.figure.uncertainty == pytest.approx(math.sqrt(800) * math.log(2) / math.sqrt(12))
    high = one("power_bandwidth_high", readings, **context)
    assert high.figure.value == pytest.approx(math.sqrt(2e8))


def test_power_bandwidth_beyond_the_captures_is_a_bound() -> None:
    readings = at_frequencies({20.0: 0.4, 1000.0: 0.1, 20e3: 0.45})
    context = {"promised": [RATED], "rated_power_w": {"amp": 20.0}}
    low = one("power_bandwidth_low", readings, **context)
    assert (low.figure.value, low.figure.bound) == (20.0, "upper")
    high = one("power_bandwidth_high", readings, **context)
    assert (high.figure.value, high.figure.bound) == (20e3, "lower")


@pytest.mark.parametrize(
    ("context", "power", "message"),
    [
        ({}, 12.0, "no rated power"),
        ({"rated_power_w": {"amp": 20.0}}, 12.0, "no distortion at rated power"),
        ({"rated_power_w": {"amp": 20.0}, "promised": [RATED]}, 5.0, "fewer than two"),
    ],
)
def test_power_bandwidth_refusals(context: dict[str, object], power: float, message: str) -> None:
    readings = at_frequencies({20.0: 0.4, 1000.0: 0.1, 20e3: 0.45}, power)
    result = refused("power_bandwidth_low", readings, **context)
    assert isinstance(result, RefusedDerivation)
    assert message in result.reason
