"""Captures of every stimulus through invented units, and sounds that are no stimulus."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from backbench.bench_day.stimulus_waveforms import wave
from backbench.documents.stimuli import Burst, Steps
from backbench.seed_dataset.behaviour import behaviours
from backbench.seed_dataset.bench import ranges
from backbench.seed_dataset.idle import Idle
from backbench.seed_dataset.multitone import Multitone
from backbench.seed_dataset.plan import Take
from backbench.seed_dataset.recording import record
from backbench.seed_dataset.scenario import scenario
from backbench.seed_dataset.square import Square
from backbench.seed_dataset.stimulus import Stimulus
from backbench.seed_dataset.sweep import Sweep
from backbench.seed_dataset.tone import Tone
from backbench.seed_dataset.two_tones import TwoTones
from backbench.signal.track import Array

Sound = tuple[Array, float, int]
KINDS = (
    "tone", "tone", "tone", "two tones", "sweep", "idle", "square", "multitone", "steps", "burst",
)  # fmt: skip


def capture(kind: str, rng: np.random.Generator) -> tuple[Sound, dict[str, object]]:
    """One capture of a kind with drawn unit, level and frequency; and what ought to be heard."""
    if kind in ("steps", "burst"):
        return _own(kind, rng)
    known = scenario()
    recorded = [one for one in known.reviews if not one.is_typed]
    review = recorded[rng.integers(len(recorded))]
    units = behaviours(review)
    rated = review.units[0].rated_power_w
    top = np.sqrt(rated * 8) if rated else 6.0
    volts = float(top * 10 ** rng.uniform(-2.2, 0.05))
    load = 8.0 if rated else math.inf
    level = volts / units[0].gain_into(load)
    stimulus, expected = _drawn(kind, level, rng)
    take = Take(f"{kind}-{rng.integers(1 << 30)}", stimulus, load)
    made = record(review, units, take, ranges(known, review))
    return (made.words / 2.0**31, made.rate_hz, 24), expected


def _drawn(kind: str, level: float, rng: np.random.Generator) -> tuple[Stimulus, dict[str, object]]:
    if kind == "tone":
        hz = float(rng.choice([20, 50, 100, 315, 997, 1000, 1000, 3000, 10_000, 20_000]))
        seconds = max(0.42, 20 / hz)
        return Tone(hz, level, 96_000, seconds), {"tone_hz": hz}
    if kind == "two tones":
        low, high, ratio = [(19_000, 20_000, 1.0), (60, 7000, 4.0), (250, 8000, 4.0)][
            rng.integers(3)
        ]
        return TwoTones(low, high, ratio, level / 2), {"tones_hz": [float(low), float(high)]}
    if kind == "multitone":
        multiples = tuple(sorted({int(n) for n in np.geomspace(2, 1900, int(rng.integers(8, 30)))}))
        return Multitone(multiples, 10.0, level / 3), {}
    if kind == "square":
        hz = float(rng.choice([100, 1000, 1000, 10_000]))
        return Square(hz, level, 192_000, max(0.1, 20 / hz)), {"square_hz": hz}
    if kind == "sweep":
        return Sweep(level), {}
    return Idle(), {}


def _own(kind: str, rng: np.random.Generator) -> tuple[Sound, dict[str, object]]:
    """Steps and bursts through a curve with a little of everything."""
    hz = float(rng.choice([100.0, 1000.0, 2000.0]))
    if kind == "steps":
        count = int(rng.integers(3, 9))
        levels = [float(v) for v in 0.5 * np.geomspace(0.1, 1.0, count)]
        played = wave(Steps(steps_hz=hz, step_s=0.3, levels_vrms=levels), 48_000)
        expected: dict[str, object] = {"steps_hz": hz}
    else:
        hz = 1000.0
        played = wave(
            Burst(burst_hz=hz, on_ms=20.0, period_ms=float(rng.choice([100.0, 500.0])),
                  generator_vrms=0.4), 48_000,
        )  # fmt: skip
        expected = {"burst_hz": hz}
    bent = played.volts + 0.02 * played.volts**2 - 0.03 * played.volts**3
    noise = rng.standard_normal((len(bent), 2)) * 1e-5
    return (bent[:, None] * np.array([0.9, 0.88]) + noise, 48_000, 24), expected


# Sounds that are no stimulus ------------------------------------------------------------------


def music(rng: np.random.Generator, seconds: float = 1.5, rate: int = 44_100) -> Sound:
    """Several instruments' notes with envelopes, harmonics, vibrato and a beat of noise."""
    time = np.arange(round(seconds * rate)) / rate
    total = np.zeros_like(time)
    for _ in range(int(rng.integers(1, 5))):
        total += _voice(time, rng)
    if rng.random() < 0.5:
        beat = np.exp(-8 * (time % 0.5)) * rng.standard_normal(len(time))
        total += rng.uniform(0.02, 0.3) * beat
    total *= 10 ** rng.uniform(-2.5, -0.3) / np.abs(total).max()
    pan = rng.uniform(0.3, 1.0, 2)
    return total[:, None] * pan + rng.standard_normal((len(total), 2)) * 1e-5, rate, 24


def _voice(time: Array, rng: np.random.Generator) -> Array:
    """One instrument: a few notes one after the other, plucked or held."""
    out = np.zeros_like(time)
    note_s = float(rng.uniform(0.15, 0.7))
    held = rng.random() < 0.5
    fall = rng.uniform(0.8, 2.0)
    for start in np.arange(0, time[-1], note_s):
        hz = 110 * 2 ** (rng.integers(0, 36) / 12)
        t = time - start
        on = (t >= 0) & (t < note_s)
        attack = np.clip(t / 0.03, 0, 1) * np.clip((note_s - t) / 0.05, 0, 1)
        envelope = attack if held else attack * np.exp(-np.clip(t, 0, None) * rng.uniform(2, 8))
        vibrato = 0.02 * np.sin(2 * np.pi * 5.5 * time) if held else 0.0
        for k in range(1, 10):
            out += on * envelope * np.sin(2 * np.pi * k * hz * t + k * vibrato) / k**fall
    return out * rng.uniform(0.3, 1.0)


def silence(rng: np.random.Generator) -> Sound:
    """Nothing, or the converter's last step."""
    n = 48_000
    if rng.random() < 0.5:
        return np.zeros((n, 2)), 48_000, 24
    bits = int(rng.choice([16, 24]))
    return rng.integers(-1, 2, (n, 2)) * 2.0 ** -(bits - 1), 48_000, bits


def pink_noise(rng: np.random.Generator) -> Sound:
    """Noise that falls by 3 dB an octave, loud."""
    n = 96_000
    bins = rng.standard_normal(n // 2 + 1) + 1j * rng.standard_normal(n // 2 + 1)
    bins /= np.sqrt(np.maximum(np.arange(n // 2 + 1), 1))
    result = np.fft.irfft(bins, n)
    return (0.3 * result / np.abs(result).max())[:, None], 48_000, 24


NO_STIMULUS: dict[str, Callable[[np.random.Generator], Sound]] = {
    "music": music, "silence": silence, "pink noise": pink_noise,
}  # fmt: skip
