"""A disc player or converter: what its output makes of the samples that it is given."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.signal.track import Array

FILE_HZ = 44_100
RATE = 2 * FILE_HZ
TAPS = 41


@dataclass(frozen=True)
class Player:
    """Its output at twice the rate of the file.

    full_v: rms of a sine at full scale. jitter_s: peak of the clock's swing at swing_hz. hiss_v:
    rms of white noise up to half of the output's rate. step_error_db: of levels more than 70 dB
    below full scale. edge_hz: of the filter. second: its second harmonic at full scale, a ratio.
    """

    full_v: float = 2.0
    jitter_s: float = 1.5e-9
    swing_hz: float = 229.0
    hiss_v: float = 4e-6
    step_error_db: float = 0.3
    edge_hz: float = 22_050.0
    second: float = 0.0

    @property
    def filter(self) -> Array:
        """A low-pass by the window method (Hamming's; from memory), of gain 2 at 0 Hz."""
        # Written out: scipy.signal takes longer to import than most reviews to make.
        edge = self.edge_hz / (RATE / 2)
        taps = np.sinc(edge * (np.arange(TAPS) - TAPS // 2)) * np.hamming(TAPS)
        return np.asarray(2 * taps / taps.sum())

    def gain_at(self, *hz: float) -> Array:
        """Magnitude of the filter."""
        delays = np.exp(-2j * np.pi / RATE * np.outer(hz, np.arange(TAPS)))
        return np.asarray(np.abs(delays @ self.filter))

    def interpolated(self, samples: Array) -> Array:
        """Two samples for each, through the filter and without its delay."""
        taps = self.filter
        wave = np.zeros(2 * len(samples) + TAPS - 1)
        wave[0::2] = np.convolve(samples, taps[0::2])
        wave[1::2][:-1] = np.convolve(samples, taps[1::2])
        return wave[TAPS // 2 : TAPS // 2 + 2 * len(samples)]

    def plays(self, samples: Array, seed: int | None = None) -> Array:
        """Volts: a clock that swings, a filter with a slow edge, hiss."""
        wave = self.interpolated(samples)
        time = np.arange(len(wave)) / RATE
        bins = np.fft.rfft(wave)
        slope = np.fft.irfft(2j * np.pi * np.fft.rfftfreq(len(wave), 1 / RATE) * bins, len(wave))
        wave = wave + self.jitter_s / 2 * np.sin(2 * np.pi * self.swing_hz * time) * slope
        wave = wave + 2 * self.second * wave**2
        rng = np.random.default_rng(len(wave) if seed is None else seed)
        hiss = self.hiss_v * rng.standard_normal(len(wave))
        return np.asarray(self.full_v * math.sqrt(2) * wave + hiss)


def dithered(samples: Array, bits: int, rng: np.random.Generator) -> Array:
    """Samples of a file: triangular dither of one step each way, rounded."""
    steps = 2.0 ** (bits - 1)
    noise = rng.random(len(samples)) - rng.random(len(samples))
    return np.asarray(np.clip(np.rint(samples * steps + noise), -steps, steps - 1) / steps)
