"""Frequency weightings of a turntable's rumble, and the power of a record behind a weighting."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from backbench.signal.track import Array

CENTRE_HZ = 315.0
"""Where the weighted curve peaks and up to which the unweighted one is flat (DIN 45544, read in a
leaflet)."""
LOW_HZ = 10.0
SEGMENT_S = 2.0
LEAST_SEGMENTS = 4


@dataclass(frozen=True)
class WeightedNoise:
    """Rms of a noise, with its scatter over the record.

    Parameters
    ----------
    rms : float
        V.
    u : float
        Its standard uncertainty by the scatter of segments, V.
    dof : int
        Degrees of freedom of u.
    """

    rms: float
    u: float
    dof: int


def rumble_unweighted(hz: Array) -> Array:
    """Amplitude factor of unweighted rumble.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Hz, >= 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        Ratio of amplitudes: 6 dB an octave below 10 Hz, 12 dB an octave above 315 Hz.

    References
    ----------
    DIN 45539 (slopes and the corner of 10 Hz from memory).
    """
    low = hz / np.hypot(hz, LOW_HZ)
    return np.asarray(low / np.sqrt(1 + (hz / CENTRE_HZ) ** 4))


def rumble_weighted(hz: Array) -> Array:
    """Amplitude factor of weighted rumble, 1 at 315 Hz.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Hz, >= 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        Ratio of amplitudes: 12 dB an octave on both sides of 315 Hz.

    References
    ----------
    DIN 45539 (slopes from memory).
    """
    x = (hz / CENTRE_HZ) ** 2
    return np.asarray(2 * x / (1 + x**2))


def band(low_hz: float, high_hz: float) -> Callable[[Array], Array]:
    """A weighting of 1 within a band and 0 beside it.

    Parameters
    ----------
    low_hz, high_hz : float
        Ends of the band, which belong to it, Hz.

    Returns
    -------
    callable
        From frequencies, Hz, to ratios of amplitudes.
    """
    return lambda hz: np.asarray(((hz >= low_hz) & (hz <= high_hz)).astype(float))


def weighted_noise(
    volts: Array, rate_hz: float, weighting: Callable[[Array], Array]
) -> WeightedNoise:
    """Rms of a record behind a weighting.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V; at least 8 s.
    rate_hz : float
        Sample rate, Hz.
    weighting : callable
        Amplitude factor at frequencies in Hz.

    Returns
    -------
    WeightedNoise
        From segments of 2 s behind a Hann window, half of each in the next.
    """
    from scipy import fft

    length = int(SEGMENT_S * rate_hz)
    window = np.hanning(length)
    hz = np.arange(length // 2 + 1) / SEGMENT_S
    factor = np.square(weighting(hz)) * 2 / (length * np.square(window).sum())
    starts = range(0, len(volts) - length + 1, length // 2)
    squares = []
    for start in starts:
        part = volts[start : start + length]
        lines = fft.rfft((part - part.mean()) * window)
        squares.append(float(np.dot(np.square(np.abs(lines)), factor)))
    # Segments that overlap by half count for about two thirds of their number.
    count = max(2 * len(squares) / 3, 2.0)
    mean = float(np.mean(squares))
    u = float(np.std(squares, ddof=1)) / math.sqrt(count)
    return WeightedNoise(math.sqrt(mean), u / (2 * math.sqrt(mean)), int(count) - 1)
