"""An exponential sweep and ways to send it through a system, for tests."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Sweep as SweepStimulus
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.sweep_window import SweepParameters
from backbench.signal.track import Array, Track


class Played(NamedTuple):
    """A sweep as samples, with what it was meant to be."""

    volts: Array
    rate_hz: float
    sweep: SweepParameters


def played(
    start_hz: float = 10.0, stop_hz: float = 22_000.0, seconds: float = 2.0,
    tail_s: float = 0.6, rate_hz: float = 48_000.0,
) -> Played:  # fmt: skip
    """sin(2 pi f1 L (exp(t / L) - 1)) with raised-cosine ends, 0.1 s of silence before it."""
    scale = seconds / np.log(stop_hz / start_hz)
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = np.sin(2 * np.pi * start_hz * scale * np.expm1(time / scale))
    wave *= _ramp(time / 0.05) * _ramp((seconds - time) / 0.003)
    lead, tail = np.zeros(round(0.1 * rate_hz)), np.zeros(round(tail_s * rate_hz))
    return Played(
        np.concatenate([lead, wave, tail]), rate_hz, SweepParameters(start_hz, stop_hz, seconds)
    )


def _ramp(share: Array) -> Array:
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(share, 0, 1)))


def capture_data(sent: Played, *outputs: Array, calibration: float = 0.005) -> CaptureData:
    """A sweep capture: each output a track with 10 V at full scale."""
    start, stop, seconds = sent.sweep
    return CaptureData(
        stimulus=SweepStimulus(
            sweep_hz=[start, stop], sweep_s=seconds, generator_vrms=0.7, reference_file="r.flac"
        ),
        conditions=Conditions(),
        outputs={
            n: Track(volts, sent.rate_hz, 10.0, calibration)
            for n, volts in enumerate(outputs, start=1)
        },
        reference=Track(sent.volts, sent.rate_hz, 2.0, calibration),
    )


def figures(taken: CaptureData, track: int = 1) -> dict[tuple[str, float | None], MeasuredValue]:
    """What was measured on a track, by metric and the frequency that it names."""
    findings, _ = measure(taken)
    return {
        (f.metric.name, f.figure.frequency_hz): f.figure
        for f in findings
        if f.track == track and f.figure is not None
    }
