"""The weighting network of Rec. ITU-R BS.468-4 (also IEC 60268-1), from its components."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from backbench.signal.side_by_side import at_other_rate
from backbench.signal.track import Array, Track
from backbench.signal.weighting import power_weights
from backbench.signal.window import Complex

OHM = 600.0
LADDER = (
    ("shunt C", 13.85e-9), ("series L", 12.88e-3), ("shunt C", 26.82e-9), ("series C", 33.06e-9),
    ("shunt C", 9.21e-9), ("series L", 26.49e-3), ("shunt C", 31.47e-9),
)  # fmt: skip
"""Between a source and a load of 600 ohm (figure 1a; second-hand, an open library's source)."""
EDGE_S = 0.002
"""The network rings for less; the record's ends, which the transform joins, are left out."""
METER_RATE_HZ = 64_800.0
"""At least so often a second the meter looks at the waveform. White noise behind the network has
less than -58 dB of its power above half of that (computed); and no round frequency up to 20 kHz
stands still against it, whose peaks would fall between the samples again and again."""


def _chain(s: Complex) -> Complex:
    """Output over source voltage, by the chain matrices of the ladder, for s != 0."""
    a, b, c, d = np.ones_like(s), OHM + 0 * s, 0 * s, np.ones_like(s)
    for kind, size in LADDER:
        if kind.startswith("shunt"):
            a, c = a + b * s * size, c + d * s * size
        else:
            z = s * size if kind.endswith("L") else 1 / (s * size)
            b, d = b + a * z, d + c * z
    gain: Complex = 1 / (a + b / OHM)
    return gain


def response_468(frequency_hz: Array) -> Complex:
    """Complex gain of the network, its magnitude 1 at 1 kHz.

    Parameters
    ----------
    frequency_hz : ndarray of float64, shape (n,)
        Hz, >= 0.

    Returns
    -------
    ndarray of complex128, shape (n,)
        Ratio of amplitudes; 0 at 0 Hz.

    References
    ----------
    Rec. ITU-R BS.468-4, figure 1a (components second-hand: an open library's source).
    """
    s = 2j * np.pi * np.maximum(frequency_hz, 1e-3)
    one_khz = abs(_chain(np.array([2j * np.pi * 1000.0]))[0])
    gain: Complex = np.where(frequency_hz > 0, _chain(s) / one_khz, 0)
    return gain


def weighting_468(frequency_hz: Array) -> Array:
    """Amplitude factor of the weighting, 1 at 1 kHz.

    Parameters
    ----------
    frequency_hz : ndarray of float64, shape (n,)
        Hz, >= 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        Ratio of amplitudes.

    References
    ----------
    Rec. ITU-R BS.468-4; see response_468.
    """
    factor: Array = np.abs(response_468(frequency_hz))
    return factor


TWO_KHZ = float(weighting_468(np.array([2000.0]))[0])
"""Factor at 2 kHz (5.63 dB), where the 2 kHz-referenced forms have 1."""


@lru_cache(maxsize=4)
def weighting_468_power(
    first: int, count: int, resolution_hz: float, second_moment: float
) -> Array:
    """Power factor for a range of a spectrum's bins; see power_weights.

    Parameters
    ----------
    first : int
        First bin, > 0.
    count : int
        Number of bins.
    resolution_hz : float
        Width of a bin, Hz.
    second_moment : float
        Of the window's lobe, bins^2 (see Window).

    Returns
    -------
    ndarray of float64, shape (count,)
        Ratio of powers, 1 at 1 kHz but for the lobe's width.

    References
    ----------
    Rec. ITU-R BS.468-4; see response_468.
    """
    return power_weights(weighting_468, first, count, resolution_hz, second_moment)


@lru_cache(maxsize=2)
def _gain_by_bin(count: int, resolution_hz: float, share: float) -> Complex:
    """share: of the samples that are kept, by which a transform back is too great."""
    return share * response_468(np.arange(count, dtype=np.float64) * resolution_hz)


def weighted_468(track: Track) -> tuple[Array, float]:
    """The waveform behind the network, without its ends, where the filter would ring.

    Parameters
    ----------
    track : Track
        The record.

    Returns
    -------
    wave : ndarray of float64, shape (m,)
        V.
    own_rate_hz : float
        Its sample rate, Hz: METER_RATE_HZ or little more.

    References
    ----------
    Rec. ITU-R BS.468-4; see response_468.
    """
    from scipy.fft import next_fast_len, prev_fast_len

    n, rate_hz = prev_fast_len(len(track.volts), real=True), track.rate_hz
    samples = next_fast_len(math.ceil(n * METER_RATE_HZ / rate_hz), real=True)
    gain = _gain_by_bin(min(samples, n) // 2 + 1, rate_hz / n, samples / n)
    own_rate = rate_hz * samples / n
    wave = at_other_rate(track, n, samples, gain, behind="the network")
    edge = int(EDGE_S * own_rate)
    return wave[edge : len(wave) - edge], own_rate
