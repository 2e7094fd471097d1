"""Both outputs of a turntable or tape deck, for each thing that its medium holds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import (
    ErasedTone,
    SilentMedium,
    Stimulus,
    SweepOnMedium,
    ToneOnMedium,
    Transport,
)
from backbench.seed_dataset.machine import Machine
from backbench.signal.track import Array

ROUND_SWEEP_S = 0.8
"""Silence about a sweep, of its record."""
BELOW_AUDIO_HZ = 100.0
"""A sweep that ends below it excites arm and cartridge."""
RUMBLE_HZ = 25.0


@dataclass(frozen=True)
class Playback:
    """A machine with its two channels; a reference level of 1 V rms on the left.

    right: of the left level. late_s: by which the right channel comes later. left_over: of the
    driven channel in the other one. rumble_v, erased_v: rms of the line that the machine's
    mechanism adds, and of what is left of an erased tone. low_hz, high_hz: corners of one pole
    each. arm_hz, arm_q: resonance of arm and cartridge.
    """

    machine: Machine
    right: float = 0.9
    late_s: float = 30e-6
    left_over: float = 0.01
    third_percent: float = 1.5
    rumble_v: float = 2e-3
    erased_v: float = 5e-4
    low_hz: float = 50.0
    high_hz: float = 9000.0
    arm_hz: float = 9.5
    arm_q: float = 2.0

    def response(self, hz: Array) -> Array:
        return np.asarray(1 / np.hypot(1, hz / self.high_hz) / np.hypot(1, self.low_hz / hz))

    def arm(self, hz: Array) -> Array:
        x = hz / self.arm_hz
        return np.asarray(x**2 / np.hypot(1 - x**2, x / self.arm_q))

    def plays(self, stimulus: Stimulus, driven: str | None, seconds: float) -> Array:
        """Volts of left and right, shape (n, 2). driven: the only channel that holds it."""
        machine = self.machine
        quiet = both(machine.noise(seconds), machine.noise(seconds, 1))
        match stimulus:
            case SilentMedium():
                line = self._rumble(seconds)
                return quiet + both(line, line)
            case SweepOnMedium():
                low, high = stimulus.played_sweep_hz
                gain = self.arm if high < BELOW_AUDIO_HZ else self.response
                one = machine.sweep(low, high, seconds, gain)
                return both(one, self.right * one)
            case ErasedTone():
                left = machine.tone(stimulus.erased_tone_hz, seconds, self.erased_v)
                return both(left, quiet[:, 1])
            case Transport() | ToneOnMedium():
                return self._tone(stimulus.frequency, driven, seconds, quiet)
        return quiet

    def _rumble(self, seconds: float) -> Array:
        turning = np.sin(2 * np.pi * RUMBLE_HZ * self.machine.times(seconds))
        return np.asarray(self.rumble_v * math.sqrt(2) * turning)

    def _tone(self, hz: float, driven: str | None, seconds: float, quiet: Array) -> Array:
        tone = self.machine.tone(hz, seconds, third_percent=self.third_percent)
        if driven:
            rest = self.left_over * tone + quiet[:, 1]
            return both(tone, rest) if driven == "left" else both(rest, tone)
        right = self.machine.tone(
            hz, seconds, self.right, 1, third_percent=self.third_percent, late_s=self.late_s
        )
        return both(tone, right)


def both(left: Array, right: Array) -> Array:
    return np.stack([left, right], axis=1)
