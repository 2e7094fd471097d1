"""How often the stated 95 % interval holds the true value: two tones, many, squares, bursts.

Run by hand: python tests/bench/coverage_waves.py [records [maker …]]. Calibration is perfect, so
that the record's own part is what is held. A bound counts as right where the true value lies on
its side. Uncertainties of edges hold how far a converter or a chain may change them, which is no
chance: their intervals are wider than 95 %.
"""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.stats import t as student

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import Burst
from backbench.metrics.declaration import CaptureData, MeasuredValue
from backbench.metrics.measurement import measure
from many_tones import multitone_material, pair_material
from squares import (
    high_pass,
    low_pass,
    recorded,
    second_order,
    square_material,
    step_of,
    trace_material,
    traced,
)
from tones import track

RATE = 96_000.0
Made = tuple[CaptureData, dict[str, float]]
PRODUCT = "intermodulation_product"


def two_tones(rng: np.random.Generator) -> Made:
    """A polynomial bent by x^2 and x^3, its second order at times near the noise."""
    equal = rng.random() < 0.5
    hz = (rng.uniform(17e3, 18e3), rng.uniform(19e3, 20e3)) if equal else (61.0, 7003.0)
    a, b = (1.0, 1.0) if equal else (2.0, 0.5)
    k2, k3 = 10 ** rng.uniform(-6, -3), -(10 ** rng.uniform(-5, -3))
    t = np.arange(int(RATE * rng.uniform(0.3, 0.8))) / RATE
    off = 1 + rng.uniform(-1e-4, 1e-4)
    phases = rng.uniform(0, 6.28, 2)
    x = a * np.cos(2 * np.pi * hz[0] * off * t + phases[0])
    x += b * np.cos(2 * np.pi * hz[1] * off * t + phases[1])
    volts = x + k2 * x**2 + k3 * x**3 + rng.normal(0, 10 ** rng.uniform(-6, -4), len(t))
    low = abs(a + k3 * (0.75 * a**3 + 1.5 * a * b**2))
    high = abs(b + k3 * (0.75 * b**3 + 1.5 * b * a**2))
    second, third = k2 * a * b, 0.75 * abs(k3)
    if equal:
        whole = low + high
        truth = {
            "difference_frequency_2": 100 * second / whole,
            "difference_frequency_3": 200 * third / whole,
            "difference_frequency_total": 100 * math.hypot(second, third) / whole,
        }
    else:
        third *= a * a * b
        truth = {
            "modulation_distortion_2": 200 * second / high,
            "modulation_distortion_3": 200 * third / high,
            "modulation_distortion_rms": 100 * math.sqrt(2 * (second**2 + third**2)) / high,
            "modulation_distortion": 200 * math.hypot(second, third) / high,
        }
    truth["tones_level"] = math.sqrt((low**2 + high**2) / 2)
    ratio = a / b
    return pair_material(track(volts, RATE), hz=hz, ratio=ratio, mains_hz=None), truth


def many_tones(rng: np.random.Generator) -> Made:
    """Ten tones in white noise with one line that is none of them."""
    hz = np.geomspace(rng.uniform(40, 60), rng.uniform(12e3, 18e3), 10)
    t = np.arange(int(RATE * rng.uniform(0.5, 1.0))) / RATE
    density, line = 10 ** rng.uniform(-14, -11), 10 ** rng.uniform(-5, -3)
    volts = rng.normal(0, math.sqrt(density * RATE / 2), len(t))
    for f in hz:
        volts += 0.3 * np.cos(2 * np.pi * f * t + rng.uniform(0, 6.28))
    volts += line * np.cos(2 * np.pi * 0.5 * (hz[6] + hz[7]) * t + rng.uniform(0, 6.28))
    rest, tones = density * 19_980 + line**2 / 2, 10 * 0.3**2 / 2
    share = rest / (rest + tones)
    truth = {
        "between_tones": math.sqrt(rest),
        "multitone_distortion": 100 * math.sqrt(share),
        "equivalent_bits": (-10 * math.log10(share) - 1.7609) / 6.0206,
        "greatest_product": line / math.sqrt(2),
        "sfdr": 20 * math.log10(0.3 / line),
        "tones_level": math.sqrt(tones),
    }
    return multitone_material(track(volts, RATE), hz=hz.tolist(), mains_hz=None), truth


def shape(corner: float, damping: float) -> dict[str, float]:
    """Closed forms of a second-order step."""
    t = np.linspace(0, 4 / corner, 40_001)
    wave = step_of(corner, damping, t)
    over = math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    rise = float(t[np.argmax(wave >= 0.9)] - t[np.argmax(wave >= 0.1)])
    return {
        "rise_time": rise, "fall_time": rise, "overshoot": 100 * over, "undershoot": 100 * over**2,
        "ringing_frequency": corner * math.sqrt(1 - damping**2), "ringing_damping": damping,
        "state_high": 1.0, "state_low": -1.0,
    }  # fmt: skip


def square(rng: np.random.Generator) -> Made:
    """A recorded 1 kHz square through a second-order low-pass and a first-order high-pass."""
    corner, damping, low = rng.uniform(8e3, 4e4), rng.uniform(0.2, 0.9), 10 ** rng.uniform(0, 2)
    hz, noise = 1000 * (1 + rng.uniform(-1e-3, 1e-3)), 10 ** rng.uniform(-6, -3)
    both = lambda f: second_order(corner, damping)(f) * high_pass(low)(f)  # noqa: E731
    volts = recorded(both, hz, noise=noise, seed=int(rng.integers(1 << 30)))
    tilt = 2 * math.tanh(math.pi * low / 2 / hz)
    truth = {"tilt": 100 * tilt, "tilt_low_cutoff": low}
    if low < 10:
        truth |= shape(corner, damping)
    capture_data = square_material(track(volts, 192_000.0), hz=1000.0)
    return capture_data, {f"recorded {name}": value for name, value in truth.items()}


def trace(rng: np.random.Generator) -> Made:
    """An oscilloscope's trace of a 1 kHz square through a second-order low-pass."""
    corner, damping = rng.uniform(1e4, 5e4), rng.uniform(0.2, 0.9)
    step = lambda t: step_of(corner, damping, t)  # noqa: E731
    noise = 10 ** rng.uniform(-4, -2.3)
    time, volts = traced(step, 1000.0, noise=noise, seed=int(rng.integers(1 << 30)))
    truth = shape(corner, damping)
    return trace_material(time, volts, 1000.0), {f"traced {k}": v for k, v in truth.items()}


def one_pole(rng: np.random.Generator) -> Made:
    """A recorded 1 kHz square through a first-order low-pass."""
    corner, noise = rng.uniform(4e3, 3e4), 10 ** rng.uniform(-6, -3)
    hz = 1000 * (1 + rng.uniform(-1e-3, 1e-3))
    volts = recorded(low_pass(corner), hz, noise=noise, seed=int(rng.integers(1 << 30)))
    rise = math.log(9) / (2 * math.pi * corner)
    truth = {
        "rise_time": rise, "fall_time": rise,
        "settling_time": math.log(25) / (2 * math.pi * corner),
        "overshoot": 0.0, "state_high": 1.0, "state_low": -1.0, "tilt": 0.0,
    }  # fmt: skip
    capture_data = square_material(track(volts, 192_000.0), hz=1000.0)
    return capture_data, {f"one-pole {name}": value for name, value in truth.items()}


def exponential_tilt(rng: np.random.Generator) -> Made:
    """A recorded square through a first-order high-pass whose corner is near its frequency."""
    low, noise = 10 ** rng.uniform(1.5, 2.7), 10 ** rng.uniform(-6, -3)
    both = lambda f: second_order(4e4, 0.7)(f) * high_pass(low)(f)  # noqa: E731
    volts = recorded(both, 1000.0, noise=noise, seed=int(rng.integers(1 << 30)))
    tilt = 2 * math.tanh(math.pi * low / 2000)
    truth = {"strong tilt": 100 * tilt, "strong tilt_low_cutoff": low}
    return square_material(track(volts, 192_000.0), hz=1000.0), truth


def traced_pole(rng: np.random.Generator) -> Made:
    """A first-order edge in a trace of 8 to 12 bits with noise."""
    corner, noise = 10 ** rng.uniform(3.9, 4.9), 10 ** rng.uniform(-4, -2.3)
    step = lambda t: -np.expm1(-2 * np.pi * corner * np.maximum(t, 0))  # noqa: E731
    time, volts = traced(step, 1000.0, noise=noise, seed=int(rng.integers(1 << 30)))
    q = 2.5 / 2 ** int(rng.choice([8, 10, 12]))
    rise = math.log(9) / (2 * math.pi * corner)
    truth = {
        "rise_time": rise, "fall_time": rise,
        "settling_time": math.log(25) / (2 * math.pi * corner),
        "overshoot": 0.0, "undershoot": 0.0, "preshoot": 0.0, "state_high": 1.0, "state_low": -1.0,
        "tilt": 0.0,
    }  # fmt: skip
    made = trace_material(time, np.round(volts / q) * q, 1000.0)
    return made, {f"coarse {name}": value for name, value in truth.items()}


MAKERS = ("two_tones", "many_tones", "square", "trace", "burst", "one_pole", "exponential_tilt",
          "traced_pole")  # fmt: skip


def burst(rng: np.random.Generator) -> Made:
    """Bursts of a sine with a second harmonic in white noise."""
    rate, harmonic = 48_000.0, 10 ** rng.uniform(-4, -2)
    t = np.arange(int(rate * 2.3)) / rate
    on = (t >= 0.1) & ((t - 0.1) % 0.5 < 0.02)
    hz = 1000 * (1 + rng.uniform(-1e-3, 1e-3))
    wave = np.cos(2 * np.pi * hz * t + 0.3) + harmonic * np.cos(4 * np.pi * hz * t + 1)
    volts = 4 * wave * np.where(on, 1.0, 0.1) + rng.normal(0, 10 ** rng.uniform(-5, -3), len(t))
    stimulus = Burst(burst_hz=1000.0, on_ms=20.0, period_ms=500.0, generator_vrms="unknown")
    truth = {"burst_level": 4 / math.sqrt(2), "burst_distortion": 100 * harmonic}
    return CaptureData(stimulus, Conditions(load_ohm=8.0), {1: track(volts, rate)}), truth


def held(figure: MeasuredValue, truth: float) -> bool:
    """Whether the 95 % interval of a figure, or its bound, holds the true value."""
    if figure.bound:
        return truth <= figure.value if figure.bound == "upper" else truth >= figure.value
    return bool(abs(figure.value - truth) <= student.ppf(0.975, figure.dof) * figure.uncertainty)


def outcomes(made: Made, prefix: str = "") -> Iterator[tuple[str, bool]]:
    """Name and outcome of each figure whose true value is known."""
    given, truth = made
    for finding in measure(given)[0]:
        figure = finding.figure
        for name, value in truth.items():
            if figure is not None and name.split()[-1] == finding.metric.name:
                yield name + (" (bound)" if figure.bound else ""), held(figure, value)


def coverage(
    records: int, seed: int, makers: tuple[str, ...] = MAKERS
) -> dict[str, tuple[float, int]]:
    """Share of intervals that hold the true value, and their number, by metric."""
    rng = np.random.default_rng(seed)
    counts: dict[str, list[bool]] = defaultdict(list)
    for _ in range(records):
        for maker in makers:
            for name, good in outcomes(globals()[maker](rng)):
                counts[name].append(good)
    return {name: (float(np.mean(c)), len(c)) for name, c in counts.items()}


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for metric, (part, count) in sorted(
        coverage(number, 2024, tuple(sys.argv[2:]) or MAKERS).items()
    ):
        print(f"{metric:36} {100 * part:6.1f} % of {count}")
