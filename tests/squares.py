"""Square waves through known responses, as recordings and as traces."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from backbench.documents.manifest import Conditions
from backbench.documents.stimuli import SquareWave, Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData
from backbench.signal.tone import PASS_BAND
from backbench.signal.track import Track

RATE = 192_000.0
Response = Callable[[float], complex]
COLUMNS = {"time": TableColumn(name="t", unit="s"), "voltage": TableColumn(name="v", unit="V")}


def second_order(corner_hz: float, damping: float) -> Response:
    """1 / (1 - q^2 + 2 i z q) with q = f / corner."""
    return lambda f: 1 / (1 - (f / corner_hz) ** 2 + 2j * damping * f / corner_hz)


def low_pass(corner_hz: float) -> Response:
    return lambda f: 1 / (1 + 1j * f / corner_hz)


def high_pass(corner_hz: float) -> Response:
    return lambda f: 1j * f / (1j * f + corner_hz)


def recorded(
    response: Response, hz: float = 1000.0, *, seconds: float = 0.3, noise: float = 1e-6,
    seed: int = 1, rate: float = RATE, second: float = 0.0,
) -> np.ndarray:  # fmt: skip
    """A square wave of +-1 V through a response and a converter that ends its band sharply.

    second: even harmonic of that amplitude, V.
    """
    t = np.arange(int(rate * seconds)) / rate
    volts = np.random.default_rng(seed).normal(0, noise, len(t))
    for k in range(1, int(PASS_BAND * rate / hz) + 1, 2):
        phasor = -4j / np.pi / k * response(k * hz) * np.exp(0.7j * k)
        volts += (phasor * np.exp(2j * np.pi * k * hz * t)).real
    return volts + second * np.cos(4 * np.pi * hz * t)


def step_of(corner_hz: float, damping: float, t: np.ndarray) -> np.ndarray:
    """Closed form of a second-order step, damping below 1."""
    root = np.sqrt(1 - damping**2)
    w, late = 2 * np.pi * corner_hz, np.maximum(t, 0.0)
    swing = np.cos(w * root * late) + damping / root * np.sin(w * root * late)
    return np.where(t > 0, 1 - np.exp(-damping * w * late) * swing, 0.0)


def traced(
    step: Callable[[np.ndarray], np.ndarray], hz: float, *, points: int = 4000,
    periods: float = 2.6, noise: float = 1e-4, seed: int = 2,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Instants and volts of an oscilloscope's trace of +-1 V; step: of 0 to 1 at 0 s."""
    t = np.linspace(-0.1 / hz, periods / hz, points)
    volts = np.random.default_rng(seed).normal(0, noise, points) - 1.0
    for k in range(-200, int(2 * periods) + 2):
        volts += 2 * (-1) ** k * step(t - (0.3 + k / 2) / hz)
    return t, volts


def square_material(*outputs: Track, hz: float = 1000.0, **kept: object) -> CaptureData:
    """A recording of a square wave on 50 Hz mains; the generator's rise time is 10 ns."""
    rise = kept.pop("rise_time_s", 1e-8)
    stimulus = SquareWave(square_hz=hz, generator_vpp="unknown", rise_time_s=rise)  # type: ignore[arg-type]
    given = {"conditions": Conditions(), "mains_hz": 50.0, **kept}
    return CaptureData(stimulus, outputs=dict(enumerate(outputs, start=1)), **given)  # type: ignore[arg-type]


def trace_material(time: np.ndarray, volts: np.ndarray, hz: float, **stated: float) -> CaptureData:
    """A trace; generator of 10 ns and probe of 4 ns unless stated otherwise."""
    rises = {"rise_time_s": 1e-8, "probe_rise_time_s": 4e-9, **stated}
    stimulus = Table(table="trace", columns=COLUMNS, square_hz=hz, **rises)  # type: ignore[arg-type]
    return CaptureData(stimulus, Conditions(), {}, table={"time": time, "voltage": volts})


def ideal_trace(
    hz: float, *, points: int = 2000, periods: float = 2.6, swing: float = 1.0, bits: int = 8,
    filled: float = 0.8, noise: float = 0.0, phase: float = 0.3, seed: int = 3,
    uneven: bool = False,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """A trace of +-swing V whose edges take no time, in steps of an instrument's converter.

    filled: share of the converter's range that the wave takes. phase: of the first upward edge,
    periods. uneven: instants up to 40 % of a step off their places.
    """
    rng = np.random.default_rng(seed)
    place = np.arange(points, dtype=np.float64)
    t = (place + (rng.uniform(-0.4, 0.4, points) if uneven else 0.0)) * periods / hz / points
    volts = np.where((t * hz - phase) % 1 < 0.5, swing, -swing) + rng.normal(0, noise, points)
    step = 2 * swing / filled / 2**bits
    return t, np.round(volts / step) * step
