"""Makers of tone and idle records that tests of the measurements share."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from backbench.manifest import Conditions
from backbench.metrics.battery import measure
from backbench.metrics.declare import Figure, Material
from backbench.signal.track import Track
from backbench.stimuli import Idle, Tone

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


def tone_material(*outputs: Track, hz: float = 1000.0, **kept: object) -> Material:
    """A tone capture; no load, generator level unknown and 50 Hz mains unless told otherwise."""
    stimulus = Tone(tone_hz=hz, generator_vrms=kept.pop("generator_vrms", "unknown"))
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return Material(stimulus, outputs=dict(enumerate(outputs, start=1)), **given)


def idle_material(*outputs: Track, **kept: object) -> Material:
    """An idle capture on 50 Hz mains."""
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return Material(Idle(idle="shorted"), outputs=dict(enumerate(outputs, start=1)), **given)


def figures(material: Material, number: int = 1) -> dict[str, Figure]:
    """Figures of one track by metric; several of one metric by "metric order"."""
    found = {}
    for finding in measure(material)[0]:
        figure = finding.figure
        if figure is not None and finding.track == number:
            order = "" if figure.order is None else f" {figure.order}"
            found[finding.metric.name + order] = figure
    return found


def reasons(material: Material, number: int = 1) -> dict[str, tuple[str, str]]:
    """Status and reason by metric, of those that gave no figure."""
    return {
        finding.metric.name: (finding.status, finding.reason or "")
        for finding in measure(material)[0]
        if finding.figure is None and finding.track == number
    }
