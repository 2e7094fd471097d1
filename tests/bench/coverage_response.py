"""How often a told uncertainty holds the truth: response and source impedance.

Run as `python tests/bench/coverage_response.py [draws]`. Every draw is a new capture with fresh
noise, calibration and loads, through the same functions as a review. Printed: the share of
draws within two standard uncertainties (95.4 % for a Gaussian), and the standard deviation of
error over uncertainty (1). Corners and levels re 1 kHz are told from the record alone.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.signal import bilinear, lfilter

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Tone
from backbench.metrics.declaration import CaptureData
from backbench.metrics.load_pairs import best_pairs
from backbench.metrics.measurement import measure
from backbench.metrics.session import Reading, Session
from backbench.signal.track import Track
from bench_readings import reading
from swept import capture_data, figures, played

RNG = np.random.default_rng(11)
LOW_HZ, HIGH_HZ, RATE = 22.0, 14_000.0, 48_000.0
CALIBRATION, LOAD = 0.005, 0.005


def magnitude(hz: float) -> float:
    """First-order band-pass after the bilinear transform."""
    bent = RATE / math.pi * math.tan(math.pi * hz / RATE)
    return 1 / math.sqrt((1 + (LOW_HZ / bent) ** 2) * (1 + (bent / HIGH_HZ) ** 2))


def corner(below: float, above: float) -> float:
    half = magnitude(1000) / math.sqrt(2)
    return float(brentq(lambda hz: magnitude(hz) - half, below, above))


def responses(draws: int, noise_v: float, hum_v: float) -> Iterator[tuple[str, float]]:
    """Scores of sweeps through the band-pass, with white noise and a 50 Hz line."""
    sent = played(seconds=1.5, tail_s=0.5, rate_hz=RATE)
    once = lfilter(*bilinear([1, 0], [1, 2 * math.pi * LOW_HZ], RATE), sent.volts)
    high = 2 * math.pi * HIGH_HZ
    clean = lfilter(*bilinear([high], [1, high], RATE), once)
    truths = {
        ("response_low_3db", None): corner(11, 900),
        ("response_high_3db", None): corner(1100, 20_000),
        **{
            ("response_at", hz): 20 * math.log10(magnitude(hz) / magnitude(1000))
            for hz in (20.0, 50.0, 200.0, 5000.0, 20_000.0)
        },
    }
    time = np.arange(len(clean)) / RATE
    for _ in range(draws):
        hum = hum_v * np.sin(2 * np.pi * (50 * time + RNG.random()))
        heard = clean + noise_v * RNG.normal(size=len(clean)) + hum
        result = figures(capture_data(sent, heard))
        for key, truth in truths.items():
            name = key[0] if key[1] is None else f"{key[0]} {key[1]:g} Hz"
            yield name, (result[key].value - truth) / result[key].uncertainty


def capture(volts_rms: float, ohm: float | None, scale: float, noise_v: float) -> Reading:
    """One tone of half a second, measured; `scale` is what the calibration is off by."""
    time = np.arange(int(RATE // 2)) / RATE
    wave = math.sqrt(2) * volts_rms * np.sin(2 * np.pi * 1000 * time + RNG.random())
    track = Track(scale * (wave + noise_v * RNG.normal(size=len(time))), RATE, 40.0, CALIBRATION)
    taken = CaptureData(
        stimulus=Tone(tone_hz=1000.0, generator_vrms=0.5),
        conditions=Conditions(load_ohm="open" if ohm is None else ohm),
        outputs={1: track},
        load_uncertainty=LOAD,
    )
    findings, _ = measure(taken)
    level = next(f.figure for f in findings if f.metric.name == "level" and f.figure)
    u, own = level.uncertainty / level.value, level.estimation / level.value
    return reading("level", level.value, u, own, load_ohm=ohm, load_uncertainty=LOAD)


def impedances(draws: int, source: float, noise_v: float) -> Iterator[tuple[str, float]]:
    """Scores of resistive sources by magnitudes: from open and 8 ohm, and from 16 and 8 ohm."""
    for _ in range(draws):
        scale = 1 + CALIBRATION * RNG.normal()
        for light in (None, 16.0):
            nominal = (light, 8.0)
            real = [ohm if ohm is None else ohm * (1 + LOAD * RNG.normal()) for ohm in nominal]
            levels = [
                capture(3.0 if r is None else 3.0 * r / (r + source), n, scale, noise_v)
                for r, n in zip(real, nominal, strict=True)
            ]
            (pair,) = best_pairs(Session(levels))
            if pair.ohms is not None and pair.ohms.value > 2 * pair.ohms.u:
                name = f"source {source:g} ohm, {light or 'open'} and 8 ohm, {noise_v:g} V noise"
                yield name, (pair.ohms.value - source) / pair.ohms.u


def report(title: str, scores: Iterator[tuple[str, float]]) -> None:
    print(title)
    gathered: dict[str, list[float]] = {}
    for name, score in scores:
        gathered.setdefault(name, []).append(score)
    for name, values in gathered.items():
        z = np.array(values)
        print(f"  {name:48s} {100 * np.mean(np.abs(z) <= 2):5.1f} %  sd {np.std(z):.2f}  "
              f"mean {np.mean(z):+.2f}  n {len(z)}")  # fmt: skip


def main() -> None:
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    report("white noise 3 mV", responses(draws, 3e-3, 0.0))
    report("white noise 0.3 mV, hum 3 mV", responses(draws, 3e-4, 3e-3))
    for source, noise_v in ((0.8, 1e-3), (0.1, 1e-3), (0.1, 0.1), (4.0, 1e-3)):
        report("", impedances(draws, source, noise_v))


if __name__ == "__main__":
    main()
