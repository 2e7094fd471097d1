"""Wow and flutter: the speed of a played tone against time, weighted and detected."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from backbench.signal.charged_voltage import follow
from backbench.signal.played_tone import FLAT_SHARE, HALF_WIDTH_HZ, PlayedTone
from backbench.signal.track import Array

WEIGHTING_DB = (
    (0.1, -48.0), (0.2, -30.6), (0.315, -19.7), (0.4, -15.0), (0.63, -8.4), (0.8, -6.0),
    (1.0, -4.2), (1.6, -1.8), (2.0, -0.9), (4.0, 0.0), (6.3, -0.9), (10.0, -2.1), (20.0, -5.9),
    (40.0, -10.4), (63.0, -14.2), (100.0, -17.3), (200.0, -23.0),
)  # fmt: skip
"""Weighting against the frequency of the flutter, Hz and dB, of IEC 60386 (from memory; its shape,
6 dB an octave on both sides of 4 Hz and more below 0.5 Hz, second-hand from an abstract of AES6)"""
WEIGHTING_ERROR_DB = 0.35
"""By how much the filter leaves the table at most."""
_PAIR_HZ, _PAIR_Q = 0.44033, 0.66135
_POLES_HZ, _ZERO_HZ = (1.51265, 9.09082, 54.27666), 40.18731
_NORMAL_HZ = 4.0
"""Poles and zero of a filter of least phase through the table, by least squares in dB."""
CHARGE_S, DISCHARGE_S = 0.085, 1.03
"""Of the peak detector, nearest to the stated responses to pulses; see PULSES."""
PULSES = ((0.010, 21.0), (0.030, 62.0), (0.060, 90.0), (0.100, 100.0))
"""Length of a pulse in s and the reading in %, re a sine of 4 Hz of the same height from peak to
peak (60 ms second-hand from an abstract of AES6, the others from memory); pulses of 100 ms that
come each second let it fall to 40 % in between (second-hand)."""
DETECTOR_ERROR = 0.09
"""By how much the detector leaves the stated responses at most, relative."""
LOW_HZ, HIGH_HZ = 0.2, 200.0
"""Band of unweighted flutter (common practice, no source)."""
SETTLE_S = 4.0
REACH_HZ = HALF_WIDTH_HZ * (1 + FLAT_SHARE) / 2
"""Modulation that the band beside the tone passes by half."""
TWO_SIGMA = 0.9545
"""Share of the time within two standard deviations of a normal distribution."""


def deviation(tone: PlayedTone) -> Array:
    """Speed of the longest stretch without a drop-out, % from its mean.

    Parameters
    ----------
    tone : PlayedTone
        The tone.

    Returns
    -------
    ndarray of float64, shape (n,)
        %.
    """
    hz = tone.hz[tone.clear]
    return np.asarray(100 * (hz / hz.mean() - 1)) if len(hz) else np.zeros(0)


def weighting(hz: Array) -> Array:
    """Amplitude factor of the weighting filter, 1 at 4 Hz.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Frequency of the flutter, Hz, >= 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        Ratio of amplitudes.

    References
    ----------
    IEC 60386 (table from memory); the filter through it is within 0.35 dB.
    """
    factor: Array = np.abs(_analogue(hz)) / abs(_analogue(np.array([_NORMAL_HZ]))[0])
    return factor


def _analogue(hz: Array) -> np.ndarray:
    s = 1j * np.asarray(hz, dtype=float)
    value = s**3 * (s + _ZERO_HZ) / (s**2 + s * _PAIR_HZ / _PAIR_Q + _PAIR_HZ**2)
    for pole in _POLES_HZ:
        value = value / (s + pole)
    return np.asarray(value)


@lru_cache(maxsize=8)
def _weighting_sections(rate_hz: float) -> Array:
    """The filter as second-order sections at a sample rate, by the bilinear transform."""
    from scipy import signal

    pair = np.roots([1.0, _PAIR_HZ / _PAIR_Q, _PAIR_HZ**2])
    poles = 2 * np.pi * np.concatenate([pair, -np.array(_POLES_HZ)])
    zeros = 2 * np.pi * np.array([0.0, 0.0, 0.0, -_ZERO_HZ])
    sections: Array = signal.zpk2sos(*signal.bilinear_zpk(zeros, poles, 1.0, rate_hz))
    return _normalised(sections, _NORMAL_HZ, rate_hz)


@lru_cache(maxsize=8)
def _band_sections(rate_hz: float) -> Array:
    from scipy import signal

    band = signal.butter(2, [LOW_HZ, HIGH_HZ], "bandpass", fs=rate_hz, output="sos")
    return np.asarray(band)


def _normalised(sections: Array, hz: float, rate_hz: float) -> Array:
    from scipy import signal

    gain = abs(signal.sosfreqz(sections, [hz], fs=rate_hz)[1][0])
    sections[0, :3] /= gain
    return sections


def weighted(course: Array, rate_hz: float) -> Array:
    """A course of the speed behind the weighting filter, its settling left out.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        %, longer than 4 s.
    rate_hz : float
        Sample rate, Hz, well above 400 Hz.

    Returns
    -------
    ndarray of float64, shape (m,)
        %.

    References
    ----------
    IEC 60386; see weighting.
    """
    return _filtered(course, _weighting_sections(rate_hz), rate_hz)


def unweighted(course: Array, rate_hz: float) -> Array:
    """A course of the speed from 0.2 Hz to 200 Hz, the filter's settling left out.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        %, longer than 4 s.
    rate_hz : float
        Sample rate, Hz, well above 400 Hz.

    Returns
    -------
    ndarray of float64, shape (m,)
        %.
    """
    return _filtered(course, _band_sections(rate_hz), rate_hz)


def _filtered(course: Array, sections: Array, rate_hz: float) -> Array:
    from scipy import signal

    return np.asarray(signal.sosfilt(sections, course)[round(SETTLE_S * rate_hz) :])


def quasi_peak(course: Array, rate_hz: float) -> Array:
    """Where a peak meter of flutter stands: half the detected height from peak to peak.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        %.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    ndarray of float64, shape (n,)
        %; of a steady sine of 4 Hz its peak.

    References
    ----------
    IEC 60386 (time constants by its responses to pulses; see PULSES).
    """
    return _detected(course, rate_hz) / _of_sine(rate_hz)


def _detected(course: Array, rate_hz: float) -> Array:
    times = (CHARGE_S, DISCHARGE_S)
    rising, falling = np.maximum(course, 0.0), np.maximum(-course, 0.0)
    both = [follow(side, rate_hz, 0.0, times) for side in (rising, falling)]
    return np.asarray((both[0] + both[1]) / 2)


@lru_cache(maxsize=8)
def _of_sine(rate_hz: float) -> float:
    t = np.arange(round(4 * rate_hz)) / rate_hz
    shown = _detected(np.sin(2 * np.pi * _NORMAL_HZ * t), rate_hz)
    return float(shown[len(shown) // 2 :].max())


def noise_of(tone: PlayedTone, *, is_weighted: bool) -> float:
    """What noise beside the tone adds to its flutter.

    Parameters
    ----------
    tone : PlayedTone
        The tone, with the density of the noise beside it.
    is_weighted : bool
        Behind the weighting filter; else from 0.2 Hz to 200 Hz.

    Returns
    -------
    float
        %, rms.

    Notes
    -----
    White noise of density N beside a tone of rms level a moves its frequency by f^2 N / a^2, in
    Hz^2/Hz, at the frequency f of the flutter.
    """
    hz = np.linspace(0.0, REACH_HZ, 2001)
    factor = weighting(hz[1:]) if is_weighted else 1 / np.sqrt(1 + (hz[1:] / HIGH_HZ) ** 4)
    density = np.square(hz[1:] * factor) * tone.noise / tone.median_level**2
    power = float(density.sum() * (hz[1] - hz[0]))
    return 100 * math.sqrt(power) / tone.carrier_hz
