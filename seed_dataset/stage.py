"""A phono stage, headphone amplifier or equaliser: one output that a generator drives."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from backbench.bench_day.stimulus_waveforms import wave
from backbench.documents.stimuli import Idle, Stimulus
from backbench.signal.track import Array

Complex = NDArray[np.complex128]
Response = Callable[[Array], Complex]
REPLAY_S = (3180e-6, 318e-6, 75e-6)
"""Time constants of the replay curve of discs (IEC 60098; from memory)."""


def replay_curve(hz: Array, stretch: float = 1.0) -> Complex:
    """Gain re 1 kHz. stretch: of the middle time constant, 1 for an exact curve."""
    s = 2j * np.pi * np.append(hz, 1000.0)
    low, middle, high = REPLAY_S
    curve = (1 + s * middle * stretch) / ((1 + s * low) * (1 + s * high))
    return np.asarray(curve[:-1] / abs(curve[-1]), dtype=np.complex128)


@dataclass(frozen=True)
class Stage:
    """gain: at 1 kHz, a ratio. rail_v: that it limits at softly. hiss_v: rms at its input, white
    up to half the rate. response: gain re 1 kHz by frequency, before the limit; None: flat.
    """

    gain: float
    rail_v: float
    hiss_v: float
    source_ohm: float
    input_ohm: float = 47_000.0
    response: Response | None = None

    def plays(
        self, stimulus: Stimulus, load_ohm: float, rate_hz: int, rng: np.random.Generator
    ) -> Array:
        """Volts at the output, as long as a capture keeps; load_ohm may be inf."""
        emf, keep = driven(stimulus, rate_hz)
        through = getattr(stimulus, "through_ohm", 0.0)
        drive = self.gain * self._shaped(emf, rate_hz) * self.input_ohm / (self.input_ohm + through)
        bent = self.rail_v * np.tanh(drive / self.rail_v)[keep]
        hiss = self.gain * self.hiss_v * rng.standard_normal(len(bent))
        return np.asarray((bent + hiss) / (1 + self.source_ohm / load_ohm))

    def hears(self, stimulus: Stimulus, rate_hz: int) -> Array:
        """Volts at its input, as long as a capture keeps."""
        emf, keep = driven(stimulus, rate_hz)
        return emf[keep]

    def _shaped(self, emf: Array, rate_hz: int) -> Array:
        if self.response is None:
            return emf
        gain = _gain_of(self.response, len(emf), rate_hz)
        return np.asarray(np.fft.irfft(np.fft.rfft(emf) * gain, len(emf)))

    def input_at(self, percent: float) -> float:
        """The input, V rms, at which tanh makes that much distortion, by its own series."""
        low, high = 1e-3, 10.0
        for _ in range(50):
            peak = (low + high) / 2
            low, high = (low, peak) if _distortion_percent(peak) > percent else (peak, high)
        return high * self.rail_v / self.gain / math.sqrt(2)


def _distortion_percent(peak: float) -> float:
    """THD of tanh driven by a sine of that peak, harmonics 2..20."""
    spectrum = np.abs(np.fft.rfft(np.tanh(peak * np.sin(2 * np.pi * np.arange(256) / 256))))
    return float(100 * np.sqrt(np.sum(spectrum[2:21] ** 2)) / spectrum[1])


@lru_cache(maxsize=8)
def _gain_of(response: Response, n: int, rate_hz: int) -> Complex:
    """A response at the frequencies of n samples; both outputs of a unit have the same."""
    return response(np.fft.rfftfreq(n, 1 / rate_hz))


def driven(stimulus: Stimulus, rate_hz: int) -> tuple[Array, slice]:
    """The generator's EMF, V, and the part of it that a capture keeps."""
    if isinstance(stimulus, Idle):
        return np.zeros(2 * rate_hz), slice(None)
    return _played(stimulus.model_dump_json(), stimulus.__class__, rate_hz)


@lru_cache(maxsize=2)
def _played(text: str, kind: type[Stimulus], rate_hz: int) -> tuple[Array, slice]:
    made = wave(kind.model_validate_json(text), rate_hz)
    return made.volts, slice(*(round(end * rate_hz) for end in made.keep))
