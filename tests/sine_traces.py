"""Oscilloscope traces of known sines, in steps of an instrument's converter."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from backbench.documents.conditions import Conditions
from backbench.documents.stimuli import Table
from backbench.documents.table_column import TableColumn
from backbench.metrics.declaration import CaptureData


def instants(points: int, seconds: float, *, uneven: bool = False, seed: int = 1) -> np.ndarray:
    """Instants from 0 s, evenly spaced or up to 40 % of a step off their places."""
    place = np.arange(points, dtype=np.float64)
    if uneven:
        place += np.random.default_rng(seed).uniform(-0.4, 0.4, points)
    return place * seconds / points


def sine(
    time: np.ndarray, hz: float, peak: float, *, phase: float = 0.4, bits: int | None = 8,
    filled: float = 0.8, noise: float = 0.0, harmonics: Mapping[int, float] | None = None,
    hum: float = 0.0, seed: int = 2,
) -> np.ndarray:  # fmt: skip
    """Volts; harmonics and hum (50 Hz) re the peak. filled: share of the converter's range."""
    volts = peak * np.cos(2 * np.pi * hz * time + phase)
    for order, part in (harmonics or {}).items():
        volts += peak * part * np.cos(2 * np.pi * order * hz * time + order)
    volts += peak * hum * np.cos(2 * np.pi * 50 * time + 1)
    volts += np.random.default_rng(seed).normal(0, noise * peak, len(time))
    step = step_of(peak, bits, filled)
    return np.round(volts / step) * step if step else volts


def step_of(peak: float, bits: int | None, filled: float = 0.8) -> float:
    """Of a converter whose range such a sine fills by that share; 0 without one."""
    return 0.0 if bits is None else 2 * peak / filled / 2**bits


def sine_trace(
    time: np.ndarray, voltage: np.ndarray, hz: float, generator: np.ndarray | None = None,
    load: float | None = None, level: float | None = None, **limits: float,
) -> CaptureData:  # fmt: skip
    """The trace as a capture; limits of the instrument's error of both columns."""
    names = {"voltage": voltage} | ({} if generator is None else {"generator": generator})
    columns = {"time": TableColumn(name="t", unit="s")}
    columns |= {key: TableColumn(name=key, unit="V", **limits) for key in names}  # type: ignore[arg-type]
    stimulus = Table(table="trace", columns=columns, tone_hz=hz, generator_vrms=level or "unknown")
    conditions = Conditions() if load is None else Conditions(load_ohm=load)
    table = {"time": time, **names}
    return CaptureData(stimulus, conditions, {}, table=table, mains_hz=50.0)


def degrees_apart(one: float, other: float) -> float:
    """Difference of two angles, -180 to 180 degrees."""
    return math.degrees(math.remainder(math.radians(one - other), 2 * math.pi))
