"""A small amplifier and a recorder, to play stimulus files through and record what comes out."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from backbench.bench_day.run_files import read_run

RANGES_V = {"5 V": 6.0, "50 V": 60.0}
GENERATOR_V = 4.0
BENCH = """\
title = "A day on the bench"

[bench.garage]
load_uncertainty_percent = 0.5
generator_uncertainty_percent = 0.5
generator_range = "generator"
"""


@dataclass(frozen=True)
class Amplifier:
    """Soft limiting at `rail` volts, slight even curvature, a source impedance, hiss and hum."""

    gain: float = 20.0
    rail_v: float = 25.0
    source_ohm: float = 0.8
    hiss_v: float = 2e-4
    hum_v: float = 5e-4
    balance: float = 0.97

    def plays(
        self, emf: np.ndarray, rate: int, load_ohm: float, driven: str | None = None
    ) -> np.ndarray:
        """Volts at both outputs, shape (n, 2), for the generator's EMF in volts."""
        rng = np.random.default_rng(len(emf))
        time = np.arange(len(emf)) / rate
        out = []
        for output, share in (("left", 1.0), ("right", self.balance)):
            drive = emf * self.gain * share * (driven in (None, output) or 1e-3)
            bent = self.rail_v * np.tanh(drive / self.rail_v + 0.01 * (drive / self.rail_v) ** 2)
            volts = bent * load_ohm / (load_ohm + self.source_ohm)
            hum = self.hum_v * np.sin(2 * np.pi * 100.02 * time)
            out.append(volts + hum + self.hiss_v * rng.standard_normal(len(emf)))
        return np.stack(out, axis=1)


def record(path: Path, volts: np.ndarray, rate: int, range_name: str) -> None:
    """As a recorder with this input range writes it: a late start, 24 bits, clipping."""
    late = np.zeros((round(0.37 * rate), volts.shape[1])) + 1e-5 * volts[:1]
    samples = np.concatenate([late, volts]) / RANGES_V[range_name]
    soundfile.write(path, np.clip(samples, -1, 1), rate, subtype="PCM_24")


def record_runs(amplifier: Amplifier, waves: Path, review: Path, into: Path) -> list[Path]:
    """Play every run of a folder, with the bench set as the plan of the review asks."""
    plan = tomllib.loads((review / "plan.toml").read_text())
    steps = {step["file"]: step["conditions"] for step in plan["step"]}
    made = []
    for layout in sorted(waves.glob("run-*.toml")):
        file = read_run(layout).segment[0].file
        own = steps[file]
        played, rate = soundfile.read(layout.with_suffix(".wav"))
        volts = (
            alone(played * GENERATOR_V) if file.startswith("loop-back")
            else amplifier.plays(
                played * GENERATOR_V, rate, own["load_ohm"], own.get("driven"))
        )  # fmt: skip
        made.append(into / f"recorded-{layout.stem}.wav")
        record(made[-1], volts, rate, own["range"])
    return made


def alone(emf: np.ndarray) -> np.ndarray:
    """The generator into both inputs of the recorder, with the recorder's own hiss."""
    rng = np.random.default_rng(len(emf) + 1)
    return np.stack([emf, emf], axis=1) + 2e-5 * rng.standard_normal((len(emf), 2))


def record_idle(amplifier: Amplifier, review: Path, rate: int = 96_000) -> None:
    """The input shorted, and the recorder's own noise: ten seconds each."""
    volts = amplifier.plays(np.zeros(10 * rate), rate, 8.0)
    for name, own in {"idle": volts, "loop-back-idle-5v-range": alone(0 * volts[:, 0])}.items():
        soundfile.write(review / f"{name}.wav", own / RANGES_V["5 V"], rate, subtype="PCM_24")


def record_calibrations(folder: Path, rate: int = 96_000) -> dict[str, tuple[Path, float]]:
    """A tone of known volts (rms) for each input range and for the generator's own output."""
    time = np.arange(rate) / rate
    made = {}
    for name, full in {**RANGES_V, "generator": GENERATOR_V}.items():
        vrms = 0.5 * full / np.sqrt(2)
        tone = 0.5 * np.sin(2 * np.pi * 1000 * time)
        tracks = 1 if name == "generator" else 2
        path = folder / f"calibration-{name.replace(' ', '')}.wav"
        soundfile.write(path, np.stack([tone] * tracks, axis=1), rate, subtype="PCM_24")
        made[name] = (path, float(vrms))
    return made
