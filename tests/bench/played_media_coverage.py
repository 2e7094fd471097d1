"""How often the intervals of figures of tape and disc machines hold the truth.

Run by hand: python tests/bench/played_media_coverage.py [DRAWS [SEED]]. Machines are drawn at
random: speed, lines of flutter, noise, third harmonic, separation. Printed by metric: figures, how
many lie within two standard uncertainties, the greatest distance in them, how many are bounds, and
how many bounds are wrong.
"""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Stimulus, ToneOnMedium, Transport
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.flutter import WEIGHTING_DB
from backbench.signal.track import Array, Track

TABLE_HZ, TABLE_DB = np.array(WEIGHTING_DB).T


@dataclass
class Score:
    """distances: in standard uncertainties. bounds, wrong: bounds, and those that are wrong."""

    distances: list[float] = field(default_factory=list)
    bounds: int = 0
    wrong: int = 0

    def add(self, figure: MeasuredValue, truth: float) -> None:
        if figure.bound is None:
            self.distances.append(abs(figure.value - truth) / max(figure.uncertainty, 1e-12))
            return
        self.bounds += 1
        margin = 1.02 if figure.value > 0 else 1 / 1.02
        upper = figure.bound == "upper"
        self.wrong += figure.value * margin < truth if upper else figure.value / margin > truth


def phase_of(rng: np.random.Generator, t: Array) -> tuple[Array, list[tuple[float, float]], float]:
    """Place on the medium by time, the lines of flutter (Hz, peak in %), the speed's error in %."""
    error = rng.uniform(-2, 2)
    count = int(rng.integers(2, 7))
    lines = [(float(10 ** rng.uniform(-0.2, 1.9)), float(10 ** rng.uniform(-2.5, -0.7)))
             for _ in range(count)]  # fmt: skip
    place = (1 + error / 100) * t
    for hz, percent in lines:
        turn = 2 * np.pi * hz
        place = place + percent / 100 / turn * np.sin(turn * t + rng.uniform(0, 6))
    return place, lines, error


def figures(
    stimulus: Stimulus, rate: float, *outputs: Array, driven: int | None = None
) -> dict[tuple[str, int], MeasuredValue]:
    tracks = {n: Track(volts, rate, 10.0, 1e-3) for n, volts in enumerate(outputs, start=1)}
    taken = CaptureData(stimulus, Conditions(), tracks, driven_track=driven)
    return {(f.metric.name, f.track): f.figure for f in measure(taken)[0] if f.figure}


def flutter(rng: np.random.Generator, scores: dict[str, Score]) -> None:
    rate, seconds = 9000.0, float(rng.uniform(23, 35))
    t = np.arange(int(seconds * rate)) / rate
    place, lines, error = phase_of(rng, t)
    noise = 10 ** rng.uniform(-4.5, -2)
    volts = np.sin(2 * np.pi * 3150 * place) + rng.normal(0, noise, len(t))
    found = figures(Transport(transport_hz=3150.0), rate, volts)
    weight = 10 ** (np.interp(np.log([hz for hz, _ in lines]), np.log(TABLE_HZ), TABLE_DB) / 20)
    peaks = np.array([percent for _, percent in lines]) / (1 + error / 100)
    flat = 1 / np.sqrt(1 + (np.array([hz for hz, _ in lines]) / 200) ** 4)
    scores["flutter_rms"].add(
        found["flutter_rms", 1], math.sqrt(float(np.square(peaks * weight).sum()) / 2)
    )
    scores["flutter_unweighted_rms"].add(
        found["flutter_unweighted_rms", 1], math.sqrt(float(np.square(peaks * flat).sum()) / 2)
    )
    scores["speed_error"].add(found["speed_error", 1], error)


def tone(rng: np.random.Generator, scores: dict[str, Score]) -> None:
    rate = 9000.0
    t = np.arange(int(rng.uniform(4, 12) * rate)) / rate
    place, _, _ = phase_of(rng, t)
    hz = float(rng.choice([315.0, 400.0, 1000.0]))
    third, noise = 10 ** rng.uniform(-2, 0.7), 10 ** rng.uniform(-4.5, -2)
    phase = 2 * np.pi * hz * place
    wave = np.sin(phase) + third / 100 * np.sin(3 * phase + rng.uniform(0, 6))
    left = wave + rng.normal(0, noise, len(t))
    found = figures(ToneOnMedium(played_tone_hz=hz), rate, left)
    scores["played_third_harmonic"].add(found["played_third_harmonic", 1], third)
    scores["played_level"].add(found["played_level", 1], math.sqrt(0.5))
    apart = rng.uniform(15, 60)
    right = 10 ** (-apart / 20) * wave + rng.normal(0, noise, len(t))
    found = figures(ToneOnMedium(played_tone_hz=hz), rate, left, right, driven=1)
    scores["played_separation"].add(found["played_separation", 2], apart)


def main(draws: int = 40, seed: int = 1) -> None:
    """Draw, measure, print."""
    rng = np.random.default_rng(seed)
    scores: dict[str, Score] = defaultdict(Score)
    for _ in range(draws):
        flutter(rng, scores)
        tone(rng, scores)
    for name, score in scores.items():
        apart = np.array(score.distances)
        within = int((apart <= 2).sum())
        greatest = f"{apart.max():.1f}" if len(apart) else "-"
        print(f"{name}: {within} of {len(apart)} within 2 u, greatest {greatest} u; "
              f"{score.bounds} bounds, {score.wrong} wrong")  # fmt: skip


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
