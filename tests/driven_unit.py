"""A unit that a generator drives, of two outputs, and the records of its planned captures."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from scipy.optimize import brentq

from backbench.bench_day.planned_capture import PlannedStep, capture_table, capture_text, read_plan
from backbench.bench_day.stimulus_waveforms import wave
from backbench.documents.stimuli import Idle, Stimulus, Sweep
from backbench.signal.track import Array

RATE = 48_000
FULL_V, GENERATOR_V = 60.0, 20.0
BENCH = f"""
title = "A day on the bench"
[bench.garage]
load_uncertainty_percent = 0.2
generator_uncertainty_percent = 0.2
generator_range = "generator"
[[bench.garage.calibration]]
since = 2024-01-01
volts_peak_at_full_scale = {{ 1 = {FULL_V}, 2 = {FULL_V} }}
uncertainty_percent = 0.2
[[bench.garage.calibration]]
since = 2024-01-01
range = "generator"
volts_peak_at_full_scale = {{ 1 = {GENERATOR_V} }}
uncertainty_percent = 0.2
"""
IDLE_S = 2.0


@dataclass(frozen=True)
class DrivenUnit:
    """Gain, softly limiting rails, one low-pass pole, impedances, hiss and a leak between outputs.

    right: gain of the right output re the left. leak: of a driven output at the other one, a
    ratio. lag_db: what the right output loses besides where the volume is turned half down.
    hiss_v: at the output with the volume up; a tenth of it arises behind the control.
    """

    gain: float
    rail_v: float
    hiss_v: float
    source_ohm: float
    input_ohm: float = 47_000.0
    pole_hz: float = 90_000.0
    right: float = 0.97
    leak: float = 1e-3
    lag_db: float = 0.4

    def plays(self, emf: Array, step: PlannedStep) -> Array:
        """Volts at both outputs, shape (n, 2)."""
        conditions = step.conditions
        volume = {"half": 0.5, "min": 0.0}.get(conditions.volume or "", 1.0)
        through = getattr(step.stimulus, "through_ohm", 0.0)
        drive = self._low_pass(emf) * self.gain * self.input_ohm / (self.input_ohm + through)
        load = conditions.load_ohm
        ohm = float(load) if isinstance(load, float | int) else math.inf
        rng = np.random.default_rng(len(step.file))
        out = []
        for output, own in (("left", 1.0), ("right", self.right)):
            share = own if conditions.driven in (None, output) else self.leak
            lag = 10 ** (-self.lag_db / 20) if volume == 0.5 and output == "right" else 1.0
            bent = self.rail_v * np.tanh(drive * share * volume * lag / self.rail_v)
            hiss = self.hiss_v * math.hypot(volume, 0.1) * rng.standard_normal(len(emf))
            out.append((bent + hiss) / (1 + self.source_ohm / ohm))
        return np.stack(out, axis=1)

    def _low_pass(self, emf: Array) -> Array:
        hz = np.fft.rfftfreq(len(emf), 1 / RATE)
        return np.fft.irfft(np.fft.rfft(emf) / (1 + 1j * hz / self.pole_hz), len(emf))

    def response(self, hz: Array) -> Array:
        """Size of the low-pass's gain."""
        return np.asarray(1 / np.hypot(1, hz / self.pole_hz))

    def power_at(self, percent: float, load: float) -> float:
        """Power in W into a load at which tanh makes that much distortion, by its own series."""

        def over(peak: float) -> float:
            lines = _limited(peak)
            return float(100 * np.sqrt(np.sum(lines[2:11] ** 2)) / lines[1] - percent)

        peak = float(brentq(over, 1e-3, 10.0))
        volts = self.rail_v * _limited(peak)[1] / (1 + self.source_ohm / load)
        return float(volts**2 / 2 / load)


def _limited(peak: float) -> Array:
    """Peaks of the lines of tanh of a sine, by order."""
    t = np.arange(256) / 256
    return np.asarray(np.abs(np.fft.rfft(np.tanh(peak * np.sin(2 * np.pi * t)))) / 128)


def recorded(unit: DrivenUnit, review: Path) -> list[str]:
    """Every planned capture but the loop-backs as a file, and its entry in the manifest."""
    plan = read_plan(review)
    assert plan is not None
    entries = []
    for step in plan.step:
        if step.loop_back:
            continue
        emf, keep = _played(step.stimulus)
        volts = unit.plays(emf, step)[keep]
        soundfile.write(review / step.file, volts / FULL_V, RATE, subtype="FLOAT")
        for reference in _references(step.stimulus):
            played = emf[keep] / GENERATOR_V
            soundfile.write(review / reference, played, RATE, subtype="FLOAT")
        entries.append(capture_text(capture_table(step)))
    return entries


def _played(stimulus: Stimulus) -> tuple[Array, slice]:
    if isinstance(stimulus, Idle):
        return np.zeros(round(IDLE_S * RATE)), slice(None)
    made = wave(stimulus, RATE)
    return made.volts, slice(round(made.keep[0] * RATE), round(made.keep[1] * RATE))


def _references(stimulus: Stimulus) -> Iterator[str]:
    if isinstance(stimulus, Sweep) and stimulus.reference_file:
        yield stimulus.reference_file
