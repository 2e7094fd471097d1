"""Makers of tone and idle records that tests of the measurements share."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Idle, Tone
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.track import Track

FULL_SCALE = 10.0


def sines(
    rate: float, seconds: float, peaks: Mapping[float, float], *, phase: float = 0.3
) -> np.ndarray:
    """Cosines of the given peak volts by frequency; each starts at another phase."""
    t = np.arange(int(rate * seconds)) / rate
    volts = np.zeros(len(t))
    for n, (frequency, peak) in enumerate(peaks.items()):
        volts += peak * np.cos(2 * np.pi * frequency * t + phase * (n + 1))
    return volts


def track(volts: np.ndarray, rate: float = 48_000.0, **kept: float) -> Track:
    """A float track of 10 V full scale with perfect calibration unless told otherwise."""
    given = {"full_scale_v": FULL_SCALE, "calibration": 0.0, **kept}
    return Track(volts, rate, **given)


def tone_material(*outputs: Track, hz: float = 1000.0, **kept: object) -> CaptureData:
    """A tone capture; no load, generator level unknown and 50 Hz mains unless told otherwise."""
    stimulus = Tone(tone_hz=hz, generator_vrms=kept.pop("generator_vrms", "unknown"))
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return CaptureData(stimulus, outputs=dict(enumerate(outputs, start=1)), **given)


def idle_material(*outputs: Track, **kept: object) -> CaptureData:
    """An idle capture on 50 Hz mains."""
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return CaptureData(Idle(idle="shorted"), outputs=dict(enumerate(outputs, start=1)), **given)


def figures(capture_data: CaptureData, number: int = 1) -> dict[str, MeasuredValue]:
    """Figures of one track by metric; several of one metric by "metric order"."""
    result = {}
    for finding in measure(capture_data)[0]:
        figure = finding.figure
        if figure is not None and finding.track == number:
            order = "" if figure.order is None else f" {figure.order}"
            result[finding.metric.name + order] = figure
    return result


def reasons(capture_data: CaptureData, number: int = 1) -> dict[str, tuple[str, str]]:
    """Status and reason by metric, of those that gave no figure."""
    return {
        finding.metric.name: (finding.status, finding.reason or "")
        for finding in measure(capture_data)[0]
        if finding.figure is None and finding.track == number
    }
