"""Stimuli as samples: what a generator has to play so that the analyses find what they expect."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import (
    Burst,
    FmTone,
    Multitone,
    SquareAndSine,
    SquareWave,
    Steps,
    Stimulus,
    Sweep,
    Tone,
    ToneThroughResistor,
    TwoTones,
)
from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.tone import EDGE, PASS_BAND
from backbench.signal.track import Array

SETTLE_S = 0.5
"""Played before the part that is kept: couplings and supplies settle."""
AFTER_S = 0.15
FADE_S = 0.02
BAND = PASS_BAND * EDGE
"""Share of the sample rate up to which a stimulus may reach."""


@dataclass(frozen=True, eq=False)
class Wave:
    """EMF in volts, shape (n,), and the part of it that a capture keeps, in seconds."""

    volts: Array
    keep: tuple[float, float]


def wave(stimulus: Stimulus, rate_hz: int, least_s: float | None = None) -> Wave:
    """The samples of a stimulus at its stated level; 1 V rms (2 V peak to peak) where unknown.

    least_s: seconds that a capture keeps of it, at least; sweeps and steps have their own.
    Raises Refusal where the rate can't hold it and where there is nothing to play.
    """
    if not stimulus.generated:
        raise Refusal("nothing is played for it")
    top = max(stimulus.frequencies)
    if top > BAND * rate_hz:
        least = in_text(math.ceil(top / BAND), "Hz", 6)
        raise Refusal(f"{in_text(top, 'Hz', 6)} needs a sample rate of at least {least}")
    own_hz = getattr(stimulus, "file_rate_hz", None)
    if own_hz is not None and own_hz != rate_hz:
        raise Refusal(
            f"the unit plays it from a file of {in_text(own_hz, 'Hz', 6)}: write it with --rate "
            f"{in_text(own_hz, 'Hz', 6)!r}"
        )
    if isinstance(stimulus, Sweep):
        return _sweep(stimulus, rate_hz)
    if isinstance(stimulus, Steps):
        return _steps(stimulus, rate_hz)
    seconds = max(_kept_seconds(stimulus), least_s or 0.0)
    n = round((SETTLE_S + seconds + AFTER_S) * rate_hz)
    time = np.arange(n) / rate_hz
    return Wave(_faded(_periodic(stimulus, time, rate_hz), rate_hz), (SETTLE_S, SETTLE_S + seconds))


def _kept_seconds(stimulus: Stimulus) -> float:
    """Long enough for 40 periods of the lowest frequency, and for closely spaced lines."""
    lowest = min(stimulus.frequencies)
    if isinstance(stimulus, Burst):
        return max(1.0, 10 * stimulus.period_ms / 1000)
    return max(1.0, 40 / lowest)


def _level(stimulus: Stimulus) -> float:
    if isinstance(stimulus, SquareWave):
        return 2.0 if stimulus.generator_vpp == "unknown" else stimulus.generator_vpp
    level = getattr(stimulus, "generator_vrms", 1.0)
    return 1.0 if level == "unknown" else float(level)


def _periodic(stimulus: Stimulus, time: Array, rate_hz: int) -> Array:
    level = _level(stimulus)
    match stimulus:
        case Tone() | ToneThroughResistor() | FmTone():
            return _sine(stimulus.frequencies[0], time) * level
        case TwoTones():
            high = level / math.hypot(stimulus.ratio, 1.0)
            low_hz, high_hz = stimulus.tones_hz
            return stimulus.ratio * high * _sine(low_hz, time) + high * _sine(high_hz, time)
        case SquareAndSine():
            return _square_and_sine(stimulus, time, rate_hz) * level
        case Multitone():
            return _many(stimulus.multitone_hz, level, time)
        case SquareWave():
            return _square(stimulus.square_hz, level, time, rate_hz)
        case Burst():
            period, on = stimulus.period_ms / 1000, stimulus.on_ms / 1000
            return _sine(stimulus.burst_hz, time % period) * level * (time % period < on)
    raise AssertionError(stimulus.kind)


def _sine(hz: float, time: Array) -> Array:
    """A sine of 1 V rms."""
    return np.asarray(math.sqrt(2) * np.sin(2 * np.pi * hz * time))


def _many(frequencies: list[float], level: float, time: Array) -> Array:
    """Equal sines at phases that keep the peak low.

    Phase of tone k of n: -pi k (k - 1) / n (M. R. Schroeder, 1970; from memory).
    """
    n = len(frequencies)
    total = np.zeros_like(time)
    for k, hz in enumerate(frequencies, start=1):
        total += np.cos(2 * np.pi * hz * time - np.pi * k * (k - 1) / n)
    return np.asarray(total * level * math.sqrt(2 / n))


def _square(hz: float, level_vpp: float, time: Array, rate_hz: int) -> Array:
    """The odd harmonics that the sample rate holds: nothing of it folds back."""
    total = np.zeros_like(time)
    for order in range(1, int(BAND * rate_hz / hz) + 1, 2):
        total += np.sin(2 * np.pi * order * hz * time) / order
    return np.asarray(total * 2 * level_vpp / np.pi)


def _square_and_sine(stimulus: SquareAndSine, time: Array, rate_hz: int) -> Array:
    """A low-passed square wave and a sine of a quarter of its peak, 1 V rms together."""
    square_hz, sine_hz = stimulus.square_and_sine_hz
    total: Array = 0.25 * np.sin(2 * np.pi * sine_hz * time)
    power = 0.25**2 / 2
    for order in range(1, int(BAND * rate_hz / square_hz) + 1, 2):
        gain = 1 / (1 + 1j * order * square_hz / stimulus.low_pass_hz)
        peak = 4 / np.pi / order * abs(gain)
        total = total + peak * np.sin(2 * np.pi * order * square_hz * time + np.angle(gain))
        power += peak**2 / 2
    return np.asarray(total / math.sqrt(power))


def _sweep(stimulus: Sweep, rate_hz: int) -> Wave:
    """An exponential sweep with short fades at its ends, in silence."""
    low, high = stimulus.sweep_hz
    time = np.arange(round(stimulus.sweep_s * rate_hz)) / rate_hz
    growth = math.log(high / low) / stimulus.sweep_s
    phase = 2 * np.pi * low / growth * np.expm1(growth * time)
    played = math.sqrt(2) * _level(stimulus) * np.sin(phase)
    rise, fall = 0.01, 0.001
    played *= _ramp(time / rise) * _ramp((stimulus.sweep_s - time) / fall)
    lead, tail = round(0.1 * rate_hz), round(0.4 * rate_hz)
    volts = np.concatenate([np.zeros(lead), played, np.zeros(tail)])
    return Wave(volts, (0.05, len(volts) / rate_hz))


def _steps(stimulus: Steps, rate_hz: int) -> Wave:
    """Levels one after the other, without a gap and in phase."""
    each = round(stimulus.step_s * rate_hz)
    levels = np.repeat(np.array(stimulus.levels_vrms), each)
    time = np.arange(len(levels)) / rate_hz
    return Wave(_sine(stimulus.steps_hz, time) * levels, (0.0, len(levels) / rate_hz))


def _faded(volts: Array, rate_hz: int) -> Array:
    """The ends eased in and out, so that no click reaches the unit."""
    position = np.arange(len(volts)) / (FADE_S * rate_hz)
    return np.asarray(volts * _ramp(position) * _ramp(position[::-1]))


def _ramp(position: Array) -> Array:
    """A raised cosine from 0 at 0 to 1 at 1 and beyond."""
    eased = np.ones_like(position)
    rising = position < 1.0  # a few of them: the cosine of all would take longer than the signal
    eased[rising] = 0.5 - 0.5 * np.cos(np.pi * np.maximum(position[rising], 0.0))
    return eased
