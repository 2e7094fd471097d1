"""Makers of records of two tones and of many that tests of the measurements share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Multitone, TwoTones
from backbench.metrics.declaration import CaptureData
from backbench.signal.track import Track

RATE = 96_000.0


def with_noise(volts: np.ndarray, rms: float = 1e-6, seed: int = 1) -> np.ndarray:
    """The record with white noise of that rms added."""
    return volts + np.random.default_rng(seed).normal(0, rms, len(volts))


def pair_material(
    *outputs: Track, hz: Sequence[float] = (19_000.0, 20_000.0), ratio: float = 1.0, **kept: object
) -> CaptureData:
    """A capture of two tones on 50 Hz mains without a load unless told otherwise."""
    stimulus = TwoTones(tones_hz=list(hz), ratio=ratio, generator_vrms="unknown")
    return _material(stimulus, outputs, kept)


def multitone_material(*outputs: Track, hz: Sequence[float], **kept: object) -> CaptureData:
    """A capture of many tones on 50 Hz mains without a load unless told otherwise."""
    return _material(Multitone(multitone_hz=list(hz), generator_vrms="unknown"), outputs, kept)


def _material(
    stimulus: TwoTones | Multitone, outputs: Sequence[Track], kept: dict[str, object]
) -> CaptureData:
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return CaptureData(stimulus, outputs=dict(enumerate(outputs, start=1)), **given)  # type: ignore[arg-type]
