"""Time of a whole analysis over its floor: reading, windowing and transforming each track.

The floor is what a notebook of general libraries takes (libsndfile, numpy, scipy); the analysis
reads with the program's own reader. The square wave's is set beside reading alone as well.

Run by hand: python tests/bench/analysis_speed.py [repeats]. One thread, processor time; floor and
analysis in turn, the least of each kept, so that other work on the machine disturbs little. Both
have their memory as the workers of a batch have it: in large pages, and kept when it is freed.
"""

from __future__ import annotations

import os

os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", MKL_NUM_THREADS="1")

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from rows import Row, tell
from scipy.fft import rfft

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Idle, Multitone, SquareWave, Stimulus, Sweep, Tone, TwoTones
from backbench.ingest.malloc_tuning import LARGE_PAGES, ask_large_pages, keep_freed
from backbench.metrics.declaration import CaptureData
from backbench.metrics.measurement import measure
from backbench.readers.file_formats import open_recording
from backbench.signal.track import Track
from backbench.signal.window import window

RATE, SECONDS, FULL_SCALE = 192_000, 1.0, 10.0
TARGETS = {
    "tone": 1.8, "idle": 2.2, "sweep": 2.5, "two tones": 1.8, "multitone": 1.8, "square": 4.0,
}  # fmt: skip


def sines(*parts: tuple[float, float]) -> np.ndarray:
    t = np.arange(int(RATE * SECONDS)) / RATE
    return sum(peak * np.cos(2 * np.pi * hz * t + hz) for hz, peak in parts)  # type: ignore[return-value]


def swept() -> np.ndarray:
    t, rate = np.arange(int(RATE * SECONDS)) / RATE, np.log(1000)
    return np.sin(2 * np.pi * 20 / rate * np.expm1(t * rate))


def cases() -> dict[str, tuple[Stimulus, np.ndarray]]:
    tone = sines((1000.3, 3.0), (2000.6, 1e-3), (3000.9, 5e-4))
    list_hz = [float(round(hz)) for hz in np.geomspace(31, 15_000, 20)]
    many = sines(*((hz, 0.2) for hz in list_hz))
    pair = sines((19_000.0, 1.0), (20_000.0, 1.0), (1000.0, 1e-3), (18_000.0, 5e-4))
    square = np.tanh(sines((1000.1, 20.0)))
    return {
        "tone": (Tone(tone_hz=1000.0, generator_vrms=1.0), tone),
        "idle": (Idle(idle="shorted"), sines((50.0, 1e-3), (100.0, 1e-3))),
        "sweep": (Sweep(sweep_hz=[20.0, 20_000.0], sweep_s=SECONDS, generator_vrms=1.0), swept()),
        "two tones": (
            TwoTones(tones_hz=[19_000.0, 20_000.0], ratio=1.0, generator_vrms=1.0), pair,
        ),
        "multitone": (
            Multitone(multitone_hz=list_hz, generator_vrms=1.0), many,
        ),
        "square": (SquareWave(square_hz=1000.0, generator_vpp=2.0), square),
    }  # fmt: skip


def reading(path: Path) -> None:
    soundfile.read(path, always_2d=True)


def floor(path: Path) -> None:
    samples, _ = soundfile.read(path, always_2d=True)
    weights = window(len(samples)).samples
    for column in samples.T:
        rfft(column * FULL_SCALE * weights)


def analysis(path: Path, stimulus: Stimulus) -> None:
    with open_recording(path) as opened:
        volts, rate = opened.read(opened.frames, [FULL_SCALE] * 2), opened.rate_hz
    tracks = {n: Track(volts[:, n - 1], rate, FULL_SCALE, 0.004, 24) for n in (1, 2)}
    reference = tracks[1] if stimulus.kind == "sweep" else None
    measure(
        CaptureData(stimulus, Conditions(load_ohm=8.0), tracks, reference=reference, mains_hz=50.0)
    )


def least(repeats: int, *jobs: Callable[[], None]) -> list[float]:
    result = [float("inf")] * len(jobs)
    for _ in range(repeats):
        for n, job in enumerate(jobs):
            started = time.process_time()
            job()
            result[n] = min(result[n], time.process_time() - started)
    return result


def main(repeats: int) -> None:
    keep_freed()  # as the workers of a batch do
    rng = np.random.default_rng(1)
    with tempfile.TemporaryDirectory() as folder:
        for name, (stimulus, volts) in cases().items():
            path = Path(folder) / f"{name}.wav"
            noisy = [volts + rng.normal(0, 1e-5, len(volts)) for _ in range(2)]
            soundfile.write(path, np.stack(noisy, axis=1) / FULL_SCALE, RATE, subtype="PCM_24")
            read, below, whole = least(
                repeats, lambda path=path: reading(path), lambda path=path: floor(path),
                lambda path=path, stimulus=stimulus: analysis(path, stimulus),
            )  # fmt: skip
            printed = f"analysis of {name}, {SECONDS:g} s, 2 tracks, {RATE // 1000} kHz"
            against, rival = ("reading", read) if name == "square" else ("floor", below)
            tell(Row(printed, 1e3 * whole, "ms", against, 1e3 * rival, TARGETS[name]))


if __name__ == "__main__":
    if LARGE_PAGES[0] not in os.environ:
        # The C library reads it as a process begins.
        ask_large_pages()
        os.execv(sys.executable, [sys.executable, *sys.argv])
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 12)
