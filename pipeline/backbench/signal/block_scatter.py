"""How the noise of a record scatters from block to block in time."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.side_by_side import at_other_rate
from backbench.signal.track import Array, Track

MOST_GROUPS = 16
GROUP_S = 0.1
"""Whole periods of both mains frequencies, so that hum is alike in every group."""
PERIOD_S = 0.02
"""A period of the mains at least: shorter records have too few longer groups."""
HANN_BLOCK_S = 0.1
MOST_BLOCKS = 31
SPARE_BAND = 1.1
"""Times the rate that just holds a band, from which the band is read clear of its end."""
OVERLAPPED = 1.06
"""Blocks that overlap by half are nearly independent: the variance of their mean is greater by
so much (Welch, IEEE Trans. AU 15, 1967, for the Hann window; from memory)."""


class Scatter(NamedTuple):
    """How a mean square varies from block to block.

    Parameters
    ----------
    relative : float
        Standard uncertainty that a mean weighted by a window has by it, re the mean, >= 0.
    span_db : float
        Highest over lowest block, dB, >= 0.
    """

    relative: float
    span_db: float


def scatter(squares: Array, spread: float, overlapped: float = 1.0) -> Scatter:
    """Scatter of mean squares by block.

    Parameters
    ----------
    squares : ndarray of float64, shape (blocks,)
        Mean squares, V^2, at least two.
    spread : float
        Of the window that the reading is weighted by (see Window).
    overlapped : float, optional
        Factor of the variance of a mean of blocks that overlap; 1 for blocks that don't.

    Returns
    -------
    Scatter
        Zeros where the mean isn't above 0.
    """
    # So few that plain numbers are quicker than arrays.
    values = squares.tolist()
    mean = sum(values) / len(values)
    if mean <= 0:
        return Scatter(0.0, 0.0)
    own = math.sqrt(sum([(value - mean) ** 2 for value in values]) / (len(values) - 1)) / mean
    span = 10 * math.log10(max(values) / max(min(values), 1e-9 * mean))
    return Scatter(own * math.sqrt(spread * overlapped / len(values)), span)


def grouped(squares: Array, block_s: float, group_s: float = GROUP_S) -> Array:
    """Mean squares of groups of blocks, each about a whole number of tenths of a second or so.

    Parameters
    ----------
    squares : ndarray of float64, shape (blocks,)
        Mean squares by block, V^2, at least one.
    block_s : float
        Duration of a block, s.
    group_s : float, optional
        What the duration of a group is about a multiple of, s.

    Returns
    -------
    ndarray of float64, shape (groups,)
        V^2; at most 16 groups. Blocks left over at the end are not used.
    """
    times = math.ceil(len(squares) * block_s / (MOST_GROUPS * group_s))
    size = max(round(times * group_s / block_s), 1)
    groups = len(squares) // size
    means: Array = squares[: groups * size].reshape(groups, size).mean(axis=1)
    return means


def block_powers(track: Track, top_hz: float) -> tuple[NDArray[np.float32], float]:
    """Power by block and bin up to top_hz, and the width of a bin, Hz.

    Parameters
    ----------
    track : Track
        The record.
    top_hz : float
        Highest frequency that is wanted, Hz.

    Returns
    -------
    power : ndarray of float32, shape (blocks, bins)
        Not scaled: only ratios are meant to be used.
    resolution_hz : float
        Width of a bin, Hz.

    Notes
    -----
    Blocks of about 0.1 s or a sixteenth of the record that overlap by half, under a Hann window,
    in single precision, at the lowest sample rate that holds the band.
    """
    from scipy.fft import next_fast_len, prev_fast_len, rfft

    given, rate_hz = _at_lower_rate(track, SPARE_BAND * 2 * top_hz)
    least = max(int(HANN_BLOCK_S * rate_hz), 2 * len(given) // (MOST_BLOCKS + 1))
    length = min(next_fast_len(least, real=True), prev_fast_len(len(given) // 2, real=True))
    step = length // 2
    count, size = (len(given) - length) // step + 1, given.itemsize
    cut = np.ndarray((count, length), given.dtype, given, 0, (step * size, size))
    last = int(top_hz / rate_hz * length) + 1
    # Rows go through the vector unit four at once: those left over would take as long each.
    rows = np.zeros((-(-len(cut) // 4) * 4, length), dtype=np.float32)
    np.multiply(cut, _hann(length), out=rows[: len(cut)])
    bins = rfft(rows, axis=1, overwrite_x=True)[: len(cut), :last]
    power: NDArray[np.float32] = np.square(bins.real)
    power += np.square(bins.imag)
    return power, rate_hz / length


def _at_lower_rate(track: Track, least_hz: float) -> tuple[NDArray[np.float32], float]:
    """Samples of a track at a whole fraction of its rate, at least so much, and that rate, Hz.

    What the lower rate doesn't hold is left out in the transform of the record.
    """
    from scipy.fft import prev_fast_len

    fraction = int(track.rate_hz / least_hz)
    if fraction < 2:
        return track.volts.astype(np.float32), track.rate_hz
    n = prev_fast_len(len(track.volts), real=True)
    count = n // fraction
    return at_other_rate(track, n, count).astype(np.float32), track.rate_hz * count / n


@lru_cache(maxsize=4)
def _hann(length: int) -> NDArray[np.float32]:
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length)).astype(np.float32)
    window.setflags(write=False)
    return window
