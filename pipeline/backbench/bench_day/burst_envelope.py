"""How level and frequency of a sound go with time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

BLOCK = 2048
AUDIBLE = 0.03
"""Blocks below this share of the loudest are silence about a sweep."""


@dataclass(frozen=True)
class Plateaus:
    """Rising steps: how many, and how long each."""

    count: int
    seconds: float


@dataclass(frozen=True)
class Gates:
    """Repeated bursts of one frequency."""

    hz: float
    on_ms: float
    period_ms: float


def levels(volts: Array, rate_hz: float, block_s: float) -> Array:
    """Level (rms) of consecutive blocks; the last, incomplete one is left out."""
    size = min(max(round(block_s * rate_hz), 16), len(volts) // 2)
    whole = volts[: len(volts) // size * size].reshape(-1, size)
    return np.asarray(np.sqrt(np.mean(np.square(whole), axis=1)))


def frequencies(volts: Array, rate_hz: float) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Time, strongest frequency and whether there is a clear one, of consecutive blocks."""
    size = BLOCK if rate_hz > 64_000 else BLOCK // 2
    whole = volts[: len(volts) // size * size].reshape(-1, size)
    power = np.square(np.abs(np.fft.rfft(whole * np.hanning(size), axis=1)))
    power[:, :2] = 0.0
    peak = np.argmax(power, axis=1)
    rms = np.sqrt(np.mean(np.square(whole), axis=1))
    near = np.array(
        [row[max(p - 12, 0) : p + 13].sum() for row, p in zip(power, peak, strict=True)]
    )
    share = near / np.maximum(power.sum(axis=1), 1e-30)
    active = (rms > AUDIBLE * rms.max()) & (peak > 3) & (share > 0.5)
    time = (np.arange(len(whole)) + 0.5) * size / rate_hz
    hz = np.asarray(np.maximum(peak, 1) * rate_hz / size, dtype=np.float64)
    return np.asarray(time, dtype=np.float64), hz, np.asarray(active)


def plateaus(volts: Array, rate_hz: float, hz: float) -> Plateaus | None:
    """Level that rises in clear steps and is even between them; None where it doesn't."""
    block_s = max(0.02, 4 / hz)
    level_db = 20 * np.log10(np.maximum(levels(volts, rate_hz, block_s), 1e-12))
    runs = _runs(level_db)
    means = [float(np.mean(run)) for run in runs]
    inside = sum(len(run) for run in runs)
    if len(runs) < 2 or inside < 0.7 * len(level_db) or np.any(np.diff(means) < 0.3):
        return None
    return Plateaus(len(runs), float(f"{len(volts) / rate_hz / len(runs):.2g}"))


def _runs(level_db: Array) -> list[Array]:
    """Stretches of at least three blocks that stay within 0.2 dB of their neighbours."""
    breaks = np.flatnonzero(np.abs(np.diff(level_db)) > 0.2) + 1
    return [run for run in np.split(level_db, breaks) if len(run) >= 3]


def gates(volts: Array, rate_hz: float) -> Gates | None:
    """Bursts of one frequency, even while they are on, at a steady pace; None for others."""
    block = max(16, round(0.002 * rate_hz))
    envelope = levels(volts, rate_hz, block / rate_hz)
    on = envelope > 0.5 * envelope.max()
    edges = np.diff(on.astype(int))
    rises, falls = np.flatnonzero(edges == 1) + 1, np.flatnonzero(edges == -1) + 1
    falls = falls[falls > rises[0]] if len(rises) else falls
    # The first and the last one may be cut off by the ends of the record.
    spans = list(zip(rises, falls, strict=False))[1:-1]
    if len(spans) < 2:
        return None
    periods, lengths = np.diff([r for r, _ in spans]), np.array([f - r for r, f in spans])
    if np.ptp(periods) > 2 or np.ptp(lengths) > 2 or lengths.min() < 4:
        return None
    inside = np.concatenate([envelope[r + 1 : f - 1] for r, f in spans])
    hz = _pitch(volts, rate_hz, [(int(r + 1) * block, int(f - 1) * block) for r, f in spans])
    if hz is None or np.ptp(inside) > 0.25 * inside.mean():
        return None
    ms = 1000 * block / rate_hz
    return Gates(hz, round(float(np.median(lengths)) * ms, 1),
                 round(float(np.mean(periods)) * ms, 1))  # fmt: skip


def _pitch(volts: Array, rate_hz: float, spans: list[tuple[int, int]]) -> float | None:
    """The frequency that all bursts share, from their zero crossings; None where it differs."""
    pitches = []
    for start, stop in spans:
        part = volts[start:stop]
        rising = np.flatnonzero((part[:-1] < 0) & (part[1:] >= 0))
        if len(rising) < 3:
            return None
        pitches.append((len(rising) - 1) * rate_hz / (rising[-1] - rising[0]))
    spread = max(pitches) / min(pitches)
    return float(np.median(pitches)) if spread < 1.03 else None
