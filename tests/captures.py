"""One capture of every stimulus as a file, with the job that analyses it."""

from __future__ import annotations

import datetime as dt
import hashlib
from pathlib import Path

import numpy as np
import soundfile

from backbench.documents.manifest import Conditions, TrackRole
from backbench.documents.settings import InForce
from backbench.documents.stimuli import (
    Burst,
    Idle,
    Multitone,
    SquareWave,
    Steps,
    Stimulus,
    Sweep,
    Tone,
    Transport,
    TwoTones,
)
from backbench.ingest.analysis_plan import Job, Source
from squares import low_pass, recorded
from swept import played
from tones import sines

FULL_SCALE, CALIBRATION = 10.0, 0.004
RATE = 48_000
SQUARE_RATE = 96_000
MANY_HZ = [float(round(hz)) for hz in np.geomspace(31, 15_000, 20)]
LEVELS = [0.1, 0.2, 0.4, 0.8]

STIMULI: dict[str, Stimulus] = {
    "tone": Tone(tone_hz=1000.0, generator_vrms=1.0),
    "idle": Idle(idle="shorted"),
    "two tones": TwoTones(tones_hz=[19_000.0, 20_000.0], ratio=1.0, generator_vrms=1.0),
    "modulation": TwoTones(tones_hz=[60.5, 7000.0], ratio=4.0, generator_vrms=1.0),
    "multitone": Multitone(multitone_hz=MANY_HZ, generator_vrms=1.0),
    "square": SquareWave(square_hz=1000.0, generator_vpp=2.0),
    "sweep": Sweep(sweep_hz=[10.0, 22_000.0], sweep_s=2.0, generator_vrms=1.0),
    "steps": Steps(steps_hz=1000.0, step_s=1.0, levels_vrms=LEVELS),
    "burst": Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3),
    "transport": Transport(transport_hz=3150.0),
}
STEADY = ("tone", "idle", "two tones", "modulation", "multitone", "square")


def rate_of(name: str) -> int:
    return SQUARE_RATE if name == "square" else RATE


def wave(name: str, seconds: float) -> np.ndarray:
    """What one output gives, V, without its noise. Sweeps, steps and transport last as they do."""
    rate = rate_of(name)
    if name == "square":
        return recorded(low_pass(12_000.0), 1000.1, seconds=seconds, noise=0.0, rate=rate)
    if name == "sweep":
        return 3.0 * played().volts
    if name == "steps":
        return np.concatenate([sines(rate, 1.0, {1000.0: 10.0 * level}) for level in LEVELS])
    if name == "burst":
        t = np.arange(int(rate * seconds)) / rate
        on = (t % 0.5 > 0.1) & (t % 0.5 < 0.12)
        return 3.0 * np.sin(2000 * np.pi * t) * np.where(on, 1.0, 0.1)
    if name == "transport":
        return sines(rate, 22.0, {3155.0: 3.0})
    peaks: dict[str, dict[float, float]] = {
        "tone": {1000.3: 3.0, 2000.6: 3e-3, 3000.9: 2e-3, 50.02: 1e-3},
        "idle": {50.02: 1e-3, 100.04: 5e-4, 150.06: 3e-4},
        "two tones": {19_000.0: 1.5, 20_000.0: 1.5, 1000.0: 2e-3, 18_000.0: 1e-3, 21_000.0: 1e-3},
        "modulation": {60.5: 2.0, 7000.0: 0.5, 6939.5: 2e-3, 7060.5: 2e-3, 6879.0: 1e-3},
        "multitone": dict.fromkeys(MANY_HZ, 0.2) | {4567.0: 1e-3},
    }  # fmt: skip
    return sines(rate, seconds, peaks[name])


def volts_of(name: str, seconds: float, *, noise: float = 3e-5, seed: int = 1) -> np.ndarray:
    """Left and right output and the generator, shape (n, 3), V."""
    one = wave(name, seconds)
    rng = np.random.default_rng(seed)
    both = [one * gain + rng.normal(0, noise, len(one)) for gain in (1.0, 0.97)]
    quiet = 0.0 if name == "idle" else 0.1
    return np.stack([*both, quiet * one + rng.normal(0, 1e-6, len(one))], axis=1)


def job(
    path: Path, name: str, volts: np.ndarray, *, subtype: str = "PCM_24", bench: Job | None = None
) -> Job:
    """Write the samples as a file (its ending tells the container); how it is analysed."""
    soundfile.write(path, volts / FULL_SCALE, rate_of(name), subtype=subtype)
    return job_of(path, name, bench=bench)


def job_of(path: Path, name: str, *, bench: Job | None = None) -> Job:
    tracks = soundfile.info(path).channels
    held = dict.fromkeys(range(1, tracks + 1), FULL_SCALE)
    calibration = InForce(
        bench="b", since=dt.date(2024, 1, 1), range=None, volts=held, relative=CALIBRATION
    )
    outputs = {1: TrackRole(unit="u", output="left"), 2: TrackRole(unit="u", output="right")}
    roles = outputs | ({3: TrackRole(generator=True)} if tracks == 3 else {})
    return Job(
        review_key="r", position=1,
        source=Source(path, path.name, hashlib.sha256(path.read_bytes()).hexdigest(), calibration),
        reference=None, stimulus=STIMULI[name], conditions=Conditions(load_ohm=8.0), roles=roles,
        loop_back=False, mains_hz=50.0, load_uncertainty=0.005, generator_uncertainty=0.005,
        bench=bench,
    )  # fmt: skip
