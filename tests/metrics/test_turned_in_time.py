"""Records begun at another instant read the same: bursts, steps, sweeps, a turntable's tone.

Idle noise, tones, pairs, many tones and square waves: test_steadiness.py and
test_steady_captures.py. A record of bursts and one of a transport's tone is turned as a whole; of
steps and of a sweep, whose order in time is what was played, the silence around them is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Burst, Steps, Transport
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.track import Track
from swept import capture_data as sweep_capture
from swept import played

RATE = 48_000.0
SHARES = (0.07, 0.31, 0.52, 0.88)
APART = 3.0
"""Standard uncertainties of the difference."""


def read(given: CaptureData) -> dict[tuple[object, ...], MeasuredValue]:
    """Figures by metric and what else tells them apart."""
    return {
        (f.metric.name, f.generator_vrms, f.figure.order, f.figure.frequency_hz): f.figure
        for f in measure(given)[0]
        if f.figure is not None
    }


def assert_alike(
    one: Mapping[tuple[object, ...], MeasuredValue],
    other: Mapping[tuple[object, ...], MeasuredValue],
    metrics: tuple[str, ...],
) -> None:
    """Each figure of the metrics within the uncertainty that the record gives both."""
    compared = 0
    for key, figure in one.items():
        if key[0] not in metrics or figure.bound:
            continue
        again = other[key]
        apart = math.hypot(figure.uncertainty, again.uncertainty) + 1e-9 * abs(figure.value)
        assert abs(again.value - figure.value) <= APART * apart, key
        compared += 1
    assert compared >= len(metrics)


@pytest.mark.parametrize("share", SHARES)
def test_bursts(share: float) -> None:
    """Four whole periods of 0.5 s, each of whole periods of the sine."""
    t = np.arange(int(2 * RATE)) / RATE
    wave = 4 * np.sin(2 * np.pi * 1000 * t) * np.where((t - 0.1) % 0.5 < 0.02, 1.0, 0.1)
    volts = wave + 2e-3 * wave**2 + np.random.default_rng(1).normal(0, 1e-4, len(t))
    stimulus = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3)

    def of(turned: np.ndarray) -> CaptureData:
        track = Track(turned, RATE, 10.0, 0.0)
        return CaptureData(stimulus, Conditions(load_ohm=8.0), {1: track}, mains_hz=50.0)

    turned = np.roll(volts, int(share * len(volts)))
    assert_alike(read(of(volts)), read(of(turned)), ("burst_level", "burst_power"))


@pytest.mark.parametrize("share", SHARES)
def test_steps(share: float) -> None:
    drives = [0.1, 0.3, 0.6]
    envelope = np.concatenate([np.full(int(RATE), math.sqrt(2) * drive) for drive in drives])
    silence = np.zeros(int(0.8 * RATE))
    x = np.concatenate([envelope * np.sin(2 * np.pi * 1000 * np.arange(len(envelope)) / RATE),
                        silence])  # fmt: skip
    volts = 10 * x - 2 * x**3 + np.random.default_rng(2).normal(0, 1e-4, len(x))

    def of(turned: np.ndarray) -> CaptureData:
        stimulus = Steps(steps_hz=1000.0, step_s=1.0, levels_vrms=drives)
        track = Track(turned, RATE, 40.0, 0.0)
        return CaptureData(stimulus, Conditions(load_ohm=8.0), {1: track}, mains_hz=50.0)

    turned = np.roll(volts, int(share * len(silence)))
    assert_alike(read(of(volts)), read(of(turned)), ("level", "thd", "output_power"))


@pytest.mark.parametrize("share", SHARES)
def test_a_sweep(share: float) -> None:
    sent = played(seconds=1.2, tail_s=0.6)
    noise = np.random.default_rng(3).normal(0, 1e-4, len(sent.volts))
    volts = sent.volts + noise
    late = np.roll(volts, int(0.3 * share * RATE))
    one, other = (read(sweep_capture(sent, v, calibration=0.0)) for v in (volts, late))
    assert_alike(one, other, ("response_at",))


@pytest.mark.parametrize("share", SHARES[1:2])
def test_the_tone_of_a_transport(share: float) -> None:
    """Whole periods of the wow (5/9 Hz) and of the tone in 36 s."""
    rate = 16_000.0
    t = np.arange(int(36 * rate)) / rate
    phase = 3150 * t + 3150 * 1e-3 / (2 * np.pi * 5 / 9) * np.sin(2 * np.pi * 5 / 9 * t)
    volts = np.sin(2 * np.pi * phase) + 1e-3 * np.random.default_rng(4).normal(size=len(t))

    def of(turned: np.ndarray) -> CaptureData:
        return CaptureData(Transport(transport_hz=3150.0), Conditions(),
                           {1: Track(turned, rate, 10.0, 0.0)})  # fmt: skip

    turned = np.roll(volts, int(share * len(volts)))
    assert_alike(read(of(volts)), read(of(turned)), ("speed_error",))
