"""How often the stated 95 % interval holds the true value, over many simulated records.

Run by hand: python tests/bench/coverage.py [records]. Every record has its own frequency,
phases, length and noise; calibration is perfect, so that the record's own part is what is held.
A bound counts as right where the true value lies on its side.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from scipy.stats import t as student

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Idle, Tone
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from backbench.signal.itu_468 import TWO_KHZ, weighting_468
from backbench.signal.track import Track
from backbench.signal.weighting import a_weighting

RATES = (44_100.0, 48_000.0, 96_000.0)
TONES_HZ = (20.0, 997.0, 6000.0)
AMPLITUDES = {1: 2.0, 2: 2e-3, 3: 1e-3, 5: 3e-4, 7: 2e-5}
"""Peak volts by harmonic; the seventh lies near the noise."""
MAINS = {1: 2e-4, 2: 1e-4, 3: 5e-5, 6: 2e-5}
"""Rms volts by multiple of the mains frequency."""


def noise_density(rng: np.random.Generator) -> float:
    """Mean square per hertz, V^2/Hz."""
    return float(10 ** rng.uniform(-14, -10))


def coloured(
    rng: np.random.Generator, rate: float, seconds: float, corner: float
) -> tuple[np.ndarray, float]:
    """Noise of density d (1 + corner / f), V, and d, V^2/Hz; held level below 5 Hz."""
    density, count = noise_density(rng), int(rate * seconds)
    white = np.fft.rfft(rng.normal(0, np.sqrt(density * rate / 2), count))
    frequency = np.maximum(np.fft.rfftfreq(count, 1 / rate), 5.0)
    return np.fft.irfft(white * np.sqrt(1 + corner / frequency), count), density


def tone_record(rng: np.random.Generator) -> tuple[CaptureData, dict[str, float]]:
    """A tone with harmonics in white or 1/f noise, and what its metrics should give."""
    rate, stated = float(rng.choice(RATES)), float(rng.choice(TONES_HZ))
    seconds = rng.uniform(max(0.3, 17 / stated), 1.2)
    frequency, corner = stated * (1 + rng.uniform(-1e-3, 1e-3)), float(rng.choice([0.0, 200.0]))
    volts, density = coloured(rng, rate, seconds, corner)
    t = np.arange(len(volts)) / rate
    peaks = {n: peak for n, peak in AMPLITUDES.items() if n * stated < 0.45 * rate}
    for n, peak in peaks.items():
        volts += peak * np.cos(2 * np.pi * n * frequency * t + rng.uniform(0, 2 * np.pi))
    first = AMPLITUDES[1] ** 2 / 2
    rest = sum(peak**2 / 2 for n, peak in peaks.items() if n > 1)
    inside = sum(peak**2 / 2 for n, peak in peaks.items() if 1 < n <= 20_000 / stated)
    noise = density * (19_980 + corner * np.log(1000))
    truth = {
        "level": np.sqrt(first),
        "thd": 100 * np.sqrt(rest / first),
        "thd_total": 100 * np.sqrt(rest / (first + rest)),
        "thd_n": 100 * np.sqrt((inside + noise) / (first + inside + noise)),
        "sinad": 10 * np.log10((first + inside + noise) / (inside + noise)),
        "snr": 10 * np.log10(first / noise),
        "dc_offset": 0.0,
    }
    for name, parity in (("even_harmonics", 0), ("odd_harmonics", 1)):
        some = [peak**2 / 2 for n, peak in peaks.items() if n > 1 and n % 2 == parity]
        truth |= {name: 100 * np.sqrt(sum(some) / first)} if some else {}
    truth |= {f"harmonic {n}": 20 * np.log10(a / 2.0) for n, a in peaks.items() if n > 1}
    stimulus = Tone(tone_hz=stated, generator_vrms="unknown")
    return capture_data(stimulus, volts, rate), truth


def idle_record(rng: np.random.Generator) -> tuple[CaptureData, dict[str, float]]:
    """White noise with mains lines off nominal, and what its metrics should give."""
    rate, seconds = float(rng.choice(RATES)), rng.uniform(1.0, 4.0)
    mains, density = 50 * (1 + rng.uniform(-3e-3, 3e-3)), noise_density(rng)
    t = np.arange(int(rate * seconds)) / rate
    volts = rng.normal(0, np.sqrt(density * rate / 2), len(t))
    for n, rms in MAINS.items():
        phase = rng.uniform(0, 2 * np.pi)
        volts += rms * np.sqrt(2) * np.cos(2 * np.pi * n * mains * t + phase)
    weights = a_weighting(np.arange(20.0, 20_000.0)) ** 2
    lines = [(rms**2, a_weighting(np.array([n * mains]))[0] ** 2) for n, rms in MAINS.items()]
    ccir = weighting_468(np.arange(20.0, 20_000.0)) ** 2
    heard = [(rms**2, weighting_468(np.array([n * mains]))[0] ** 2) for n, rms in MAINS.items()]
    truth = {
        "noise": np.sqrt(density * 19_980 + sum(p for p, _ in lines)),
        "noise_a": np.sqrt(density * weights.sum() + sum(p * w for p, w in lines)),
        "noise_ccir_rms": np.sqrt(density * ccir.sum() + sum(p * w for p, w in heard)) / TWO_KHZ,
        "hum": np.sqrt(sum(p for p, _ in lines)),
        "hiss": np.sqrt(density),
        "hum_over_hiss": 10 * np.log10(sum(p for p, _ in lines) / (density * 19_980)),
    }
    truth |= {f"mains_line {n}": rms for n, rms in MAINS.items()}
    return capture_data(Idle(idle="shorted"), volts, rate), truth


def capture_data(stimulus: Tone | Idle, volts: np.ndarray, rate: float) -> CaptureData:
    track = Track(volts, rate, 20.0, 0.0)
    return CaptureData(stimulus, Conditions(), {1: track}, mains_hz=50.0)


def held(figure: MeasuredValue, truth: float) -> bool:
    """Whether the 95 % interval of a figure, or its bound, holds the true value."""
    if figure.bound == "lower":
        return truth >= figure.value
    if figure.bound == "upper":
        return truth <= figure.value
    reach = student.ppf(0.975, figure.dof) * figure.uncertainty
    return abs(figure.value - truth) <= reach


def outcomes(made: tuple[CaptureData, dict[str, float]]) -> Iterator[tuple[str, bool]]:
    """Name and outcome of each figure whose true value is known."""
    given, truth = made
    for finding in measure(given)[0]:
        figure = finding.figure
        if figure is None:
            continue
        name = finding.metric.name + (f" {figure.order}" if figure.order else "")
        if name in truth:
            yield name + (" (bound)" if figure.bound else ""), held(figure, truth[name])


def coverage(records: int, seed: int) -> dict[str, tuple[float, int]]:
    """Share of intervals that hold the true value, and their number, by metric."""
    rng = np.random.default_rng(seed)
    counts: dict[str, list[bool]] = defaultdict(list)
    for _ in range(records):
        for made in (tone_record(rng), idle_record(rng)):
            for name, good in outcomes(made):
                counts[name].append(good)
    return {name: (float(np.mean(c)), len(c)) for name, c in counts.items()}


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for metric, (share, count) in sorted(coverage(number, seed=2024).items()):
        print(f"{metric:24} {100 * share:6.1f} % of {count}")
