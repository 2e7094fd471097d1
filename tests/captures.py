"""One capture of every stimulus as a file, with the job that analyses it."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from backbench.documents.manifest import Conditions, TrackRole
from backbench.documents.settings import InForce
from backbench.documents.stimuli import (
    Burst,
    ErasedTone,
    FmTone,
    Idle,
    Multitone,
    SilentMedium,
    SquareAndSine,
    SquareWave,
    Steps,
    Stimulus,
    Sweep,
    SweepOnMedium,
    Tone,
    ToneOnMedium,
    ToneThroughResistor,
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
    "through a resistor": ToneThroughResistor(
        through_ohm=47e3, resistor_percent=1.0, through_hz=1000.0, generator_vrms=1.0
    ),
    "square and sine": SquareAndSine(
        square_and_sine_hz=[3150.0, 15_000.0], low_pass_hz=30e3, generator_vrms=1.0
    ),
    "played tone": ToneOnMedium(played_tone_hz=315.0, peak_velocity_cm_s=5.0),
    "played sweep": SweepOnMedium(played_sweep_hz=[20.0, 20e3], sweep_s=20.0),
    "silent medium": SilentMedium(silent_medium="silent groove"),
    "erased tone": ErasedTone(erased_tone_hz=1000.0),
    "fm tone": FmTone(fm_tone_hz=1000.0, deviation_hz=75e3, pilot_hz=19e3, deemphasis_s=5e-5),
}
STEADY = ("tone", "idle", "two tones", "modulation", "multitone", "square")


def rate_of(name: str) -> int:
    return SQUARE_RATE if name == "square" else RATE


def bursts(seconds: float) -> np.ndarray:
    t = np.arange(int(RATE * seconds)) / RATE
    on = (t % 0.5 > 0.1) & (t % 0.5 < 0.12)
    return 3.0 * np.sin(2000 * np.pi * t) * np.where(on, 1.0, 0.1)


def played_sweep() -> np.ndarray:
    t, growth = np.arange(RATE * 20) / RATE, np.log(1000.0) / 20.0
    return 2.0 * np.sin(2 * np.pi * 20.0 / growth * np.expm1(growth * t))


OWN_WAVES: dict[str, Callable[[float], np.ndarray]] = {
    "square": lambda seconds: recorded(
        low_pass(12_000.0), 1000.1, seconds=seconds, noise=0.0, rate=SQUARE_RATE
    ),
    "sweep": lambda _: 3.0 * played().volts,
    "steps": lambda _: np.concatenate([sines(RATE, 1.0, {1000.0: 10.0 * v}) for v in LEVELS]),
    "burst": bursts,
    "transport": lambda _: sines(RATE, 22.0, {3155.0: 3.0}),
    "played sweep": lambda _: played_sweep(),
}


def wave(name: str, seconds: float) -> np.ndarray:
    """What one output gives, V, without its noise. Sweeps, steps and transport last as they do."""
    if name in OWN_WAVES:
        return OWN_WAVES[name](seconds)
    peaks: dict[str, dict[float, float]] = {
        "tone": {1000.3: 3.0, 2000.6: 3e-3, 3000.9: 2e-3, 50.02: 1e-3},
        "idle": {50.02: 1e-3, 100.04: 5e-4, 150.06: 3e-4},
        "two tones": {19_000.0: 1.5, 20_000.0: 1.5, 1000.0: 2e-3, 18_000.0: 1e-3, 21_000.0: 1e-3},
        "modulation": {60.5: 2.0, 7000.0: 0.5, 6939.5: 2e-3, 7060.5: 2e-3, 6879.0: 1e-3},
        "multitone": dict.fromkeys(MANY_HZ, 0.2) | {4567.0: 1e-3},
        "through a resistor": {1000.3: 2.0, 2000.6: 2e-3, 50.02: 1e-3},
        "square and sine": {3150.0: 2.0, 9450.0: 0.6, 15_000.0: 0.5, 8700.0: 1e-3},
        "played tone": {315.2: 2.0, 630.4: 1e-2, 945.6: 5e-3},
        "silent medium": {50.02: 1e-3, 12.0: 1e-3},
        "erased tone": {1000.2: 1e-3},
        "fm tone": {1000.0: 2.0, 2000.0: 5e-3, 19_000.0: 2e-3},
    }  # fmt: skip
    return sines(RATE, seconds, peaks[name])


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
