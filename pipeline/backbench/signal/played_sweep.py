"""A sweep played from tape or disc: its level against its own frequency, whatever the speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from backbench.errors import Refusal
from backbench.signal.track import Array

FRAME_S = 0.05
STEP, WIDTH = 0.5, 1.0
"""Distance and width of the bands, octaves."""
STEADY = 0.08
"""Scatter of the frequency within a frame, relative, above which it is noise and no sweep."""
CELLS_PER_OCTAVE = 12
LEAST_CELLS = 12


@dataclass(frozen=True, eq=False)
class SweptLevel:
    """Level along a sweep.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Frequency of the sweep itself, Hz, ascending.
    volts : ndarray of float64, shape (n,)
        Rms, V.
    u : ndarray of float64, shape (n,)
        Standard uncertainty by the scatter within a twelfth of an octave, V.
    """

    hz: Array
    volts: Array
    u: Array


def level_along_sweep(volts: Array, rate_hz: float, low_hz: float, high_hz: float) -> SweptLevel:
    """Level of a sweep against its own frequency.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    low_hz, high_hz : float
        Ends of the sweep as stated, Hz.

    Returns
    -------
    SweptLevel
        By twelfths of an octave, of those in which the sweep was found.

    Raises
    ------
    Refusal
        Where no sweep is found.

    Notes
    -----
    Every 50 ms the strongest of bands half an octave apart holds the sweep; its harmonics are
    weaker and above. Frequency and level there are those of the band's analytic signal, so that no
    law of frequency against time is assumed.
    """
    frames = int(len(volts) / rate_hz / FRAME_S)
    power, hz, scatter = _bands(volts, rate_hz, low_hz, high_hz, frames)
    strongest = np.argmax(power, axis=0)
    pick = strongest, np.arange(frames)
    found_hz, found = hz[pick], power[pick]
    sound = (scatter[pick] < STEADY) & (found_hz >= 0.97 * low_hz) & (found_hz <= 1.03 * high_hz)
    return _by_cells(found_hz[sound], found[sound])


def _by_cells(hz: Array, power: Array) -> SweptLevel:
    cells = np.round(np.log2(hz) * CELLS_PER_OCTAVE).astype(int)
    rows = []
    for cell in np.unique(cells):
        own = power[cells == cell]
        mean = float(own.mean())
        scatter = float(own.std(ddof=1)) if len(own) > 1 else 0.05 * mean
        level = np.sqrt(mean)
        middle = float(np.exp(np.log(hz[cells == cell]).mean()))
        rows.append((middle, level, scatter / np.sqrt(len(own)) / (2 * level)))
    if len(rows) < LEAST_CELLS:
        raise Refusal("no sweep of the stated frequencies was found in the record")
    return SweptLevel(*np.array(rows).T)


def _bands(
    volts: Array, rate_hz: float, low_hz: float, high_hz: float, frames: int
) -> tuple[Array, Array, Array]:
    """Mean square, frequency and its scatter by band and frame, shape (bands, frames)."""
    from scipy import fft

    n = fft.prev_fast_len(len(volts), real=True)
    lines = fft.rfft(volts[:n])
    count = int(np.ceil(np.log2(high_hz / low_hz) / STEP)) + 1
    parts = [_band(lines, n, rate_hz, low_hz * 2 ** (STEP * k), frames) for k in range(count)]
    power, hz, scatter = (np.array(part) for part in zip(*parts, strict=True))
    return power, hz, scatter


def _band(
    lines: np.ndarray, n: int, rate_hz: float, middle_hz: float, frames: int
) -> tuple[Array, Array, Array]:
    """One band's mean square, frequency and scatter of frequency by frame."""
    from scipy import fft

    resolution = rate_hz / n
    first = max(int(middle_hz * 2 ** (-WIDTH) / resolution), 1)
    last = min(int(middle_hz * 2**WIDTH / resolution) + 1, len(lines))
    own_hz = np.arange(first, last) * resolution
    octaves = np.abs(np.log2(own_hz / middle_hz))
    shape = np.cos(np.pi / 2 * np.clip((octaves - WIDTH / 2) / (WIDTH / 2), 0.0, 1.0)) ** 2
    kept = lines[first:last] * shape
    size = fft.next_fast_len(max(2 * len(kept), 4 * frames))
    signal = fft.ifft(kept, size) * (2 * size / n)
    slope = fft.ifft(kept * 2j * np.pi * own_hz, size) * (2 * size / n)
    square = np.square(np.abs(signal))
    hz = (slope * signal.conj()).imag / (2 * np.pi * np.maximum(square, 1e-30))
    edges = np.round(np.arange(frames + 1) * FRAME_S * rate_hz / n * size).astype(int)
    return _by_frame(square, hz, np.minimum(edges, size - 1))


def _by_frame(square: Array, hz: Array, edges: np.ndarray) -> tuple[Array, Array, Array]:
    """Mean power, frequency weighted by it, and the frequency's relative scatter."""
    counts = np.maximum(np.diff(edges), 1)
    total = np.maximum(np.add.reduceat(square, edges[:-1]), 1e-30)
    mean = np.add.reduceat(square * hz, edges[:-1]) / total
    second = np.add.reduceat(square * hz**2, edges[:-1]) / total
    scatter = np.sqrt(np.maximum(second - mean**2, 0.0)) / np.maximum(np.abs(mean), 1e-9)
    return np.asarray(total / counts / 2), np.asarray(mean), np.asarray(scatter)
