"""Memory and time of analysing long recordings.

Run by hand: python tests/bench/long_recording.py [MINUTES [FORMAT [FOLDER]]] writes a tone and an
idle capture of two tracks at 192 kHz and 24 bit (60 minutes as FLAC if not told otherwise; W64 and
RF64 too) and analyses each in a process of its own. `--pieces` instead analyses a recording of
every stimulus that is as long as one piece may be, with a loop-back where one is used: what
bytes_a_sample of each stimulus rests on. Printed: peak resident memory, and processor and wall time
over those of reading the file.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
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
from backbench.ingest.analyse import analyse
from backbench.ingest.analysis_plan import Job, Source
from backbench.ingest.recordings import most_frames

RATE, FULL_SCALE, LIMIT_MIB = 192_000, 10.0, 1024
BLOCK = 1 << 20
LOWEST_HZ, OCTAVES = 19.0, 12.2
LEVELS = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9]
MANY_HZ = [31.0, 60.0, 110.0, 230.0, 450.0, 910.0, 1800.0, 3700.0, 7300.0, 14_000.0]
BENCHED = ("tone", "two tones", "idle", "sweep")
Wave = Callable[[np.ndarray], np.ndarray]


def sines(*parts: tuple[float, float]) -> Wave:
    return lambda t: sum(peak * np.cos(2 * np.pi * hz * t + hz) for hz, peak in parts)  # type: ignore[return-value]


def cases(seconds: float) -> dict[str, tuple[Stimulus, Wave]]:
    """Stimulus and wave over time, V, of a recording so long."""
    scale = seconds / np.log(2.0) / OCTAVES
    step = seconds / len(LEVELS)
    return {
        "tone": (
            Tone(tone_hz=1000.0, generator_vrms=1.0),
            sines((1000.3, 3.0), (2000.6, 1e-3), (3000.9, 5e-4)),
        ),
        "idle": (Idle(idle="shorted"), sines((50.01, 1e-3), (100.02, 5e-4))),
        "two tones": (
            TwoTones(tones_hz=[19_000.0, 20_000.0], ratio=1.0, generator_vrms=1.0),
            sines((19_000.0, 1.0), (20_000.0, 1.0), (1000.0, 1e-3)),
        ),
        "multitone": (
            Multitone(multitone_hz=MANY_HZ, generator_vrms=1.0),
            sines(*((hz, 0.3) for hz in MANY_HZ)),
        ),
        "square": (
            SquareWave(square_hz=1000.0, generator_vpp=2.0),
            sines(*((1000.0 * k, 1 / k / (1 + (k / 12) ** 2)) for k in range(1, 60, 2))),
        ),
        "sweep": (
            Sweep(sweep_hz=[20.0, 85_000.0], sweep_s=seconds, generator_vrms=1.0),
            lambda t: 3 * np.sin(2 * np.pi * LOWEST_HZ * scale * np.expm1(t / scale)),
        ),
        "steps": (
            Steps(steps_hz=1000.0, step_s=step, levels_vrms=LEVELS),
            lambda t: (
                np.array(LEVELS)[np.minimum(t // step, len(LEVELS) - 1).astype(int)]
                * 10 * np.sin(2000 * np.pi * t)
            ),
        ),
        "burst": (
            Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms=0.3),
            lambda t: np.sin(2000 * np.pi * t) * np.where((t - 0.1) % 0.5 < 0.02, 3.0, 0.3),
        ),
        "transport": (Transport(transport_hz=3150.0), sines((3155.0, 3.0))),
    }  # fmt: skip


def blocks(wave: Wave, frames: int) -> Iterator[np.ndarray]:
    rng = np.random.default_rng(1)
    for first in range(0, frames, BLOCK):
        volts = wave(np.arange(first, min(first + BLOCK, frames)) / RATE)
        yield np.stack([volts + rng.normal(0, 3e-5, len(volts)) for _ in range(2)], axis=1)


def write(path: Path, wave: Wave, frames: int, form: str) -> None:
    with soundfile.SoundFile(path, "w", RATE, 2, "PCM_24", format=form) as file:
        for block in blocks(wave, frames):
            file.write(block / FULL_SCALE)


def job_of(path: Path, stimulus: Stimulus, bench: Job | None = None) -> Job:
    held = InForce(
        bench="b", since=dt.date(2024, 1, 1), range=None, volts={1: FULL_SCALE, 2: FULL_SCALE},
        relative=0.004,
    )  # fmt: skip
    with path.open("rb") as stream:
        sha256 = hashlib.file_digest(stream, "sha256").hexdigest()
    source = Source(path, path.name, sha256, held)
    reference = source if isinstance(stimulus, Sweep) else None
    roles = {n: TrackRole(unit="u", output=name) for n, name in ((1, "left"), (2, "right"))}
    return Job(
        "r", 1, source, reference, stimulus, Conditions(load_ohm=8.0), roles, False, 50.0,
        0.005, 0.005, bench,
    )  # fmt: skip


def timed(run: Callable[[], object]) -> tuple[object, float, float]:
    """What a call gives, with its processor and wall time, s."""
    cpu, wall = time.process_time(), time.perf_counter()
    given = run()
    return given, time.process_time() - cpu, time.perf_counter() - wall


def read_through(path: Path) -> None:
    for _ in soundfile.blocks(path, blocksize=BLOCK, always_2d=True):
        pass


def child(path: Path, name: str) -> None:
    """Analyse one recording in this process and print what it took."""
    frames = soundfile.info(path).frames
    stimulus = cases(frames / RATE)[name][0]
    bench = job_of(path, stimulus) if name in BENCHED else None
    work = job_of(path, stimulus, bench)
    result, cpu, wall = timed(lambda: analyse(work))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    _, read_cpu, read_wall = timed(lambda: read_through(path))
    states = Counter(row["status"] for row in result.readings)  # type: ignore[attr-defined]
    reason = result.reason or ", ".join(f"{n} {state}" for state, n in sorted(states.items()))  # type: ignore[attr-defined]
    print(
        f"{name:10} {frames / RATE:7.1f} s {path.stat().st_size / 1e6:6.0f} MB "
        f"peak {peak:5.0f} MiB  processor {cpu:6.1f} s ({cpu / read_cpu:.1f} of reading)  "
        f"wall {wall:6.1f} s ({wall / read_wall:.1f})  {reason}",
        flush=True,
    )
    assert peak < LIMIT_MIB
    assert result.reason is None  # type: ignore[attr-defined]


def analysed_apart(name: str, frames: int, form: str, folder: Path) -> None:
    path = folder / f"{name.replace(' ', '-')}.{form.lower()}"
    try:
        write(path, cases(frames / RATE)[name][1], frames, form)
        command = [sys.executable, __file__, "--child", str(path), name]
        subprocess.run(command, check=True)
    finally:
        path.unlink(missing_ok=True)


def main(arguments: list[str]) -> None:
    if arguments[:1] == ["--child"]:
        return child(Path(arguments[1]), arguments[2])
    if arguments == ["--pieces"]:
        with tempfile.TemporaryDirectory() as folder:
            for name, (stimulus, _) in cases(60.0).items():
                analysed_apart(name, most_frames(stimulus, 2, RATE), "W64", Path(folder))
        return None
    minutes = float(arguments[0]) if arguments else 60.0
    form = arguments[1].upper() if len(arguments) > 1 else "FLAC"
    with tempfile.TemporaryDirectory(dir=arguments[2] if len(arguments) > 2 else None) as folder:
        for name in ("tone", "idle"):
            analysed_apart(name, round(60 * minutes * RATE), form, Path(folder))
    return None


if __name__ == "__main__":
    main(sys.argv[1:])
