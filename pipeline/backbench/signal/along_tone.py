"""Harmonics of a tone that flutters, measured along its own phase."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.played_tone import EDGE_S, PlayedTone
from backbench.signal.track import Array

SEGMENT_S, LEAST_SEGMENTS = 0.5, 6
BAND = 0.45
"""Share of the sample rate up to which a harmonic is taken."""


@dataclass(frozen=True, eq=False)
class HarmonicsAlong:
    """Amplitudes of harmonics along a tone's phase, each with its scatter.

    Parameters
    ----------
    orders : ndarray of int, shape (n,)
        1, the tone itself, and up.
    amplitude : ndarray of float64, shape (n,)
        Peak, V, what the scatter adds taken off.
    u : ndarray of float64, shape (n,)
        Standard uncertainty of each, V.
    segments : int
        Of the record, from whose scatter it comes.
    """

    orders: np.ndarray
    amplitude: Array
    u: Array
    segments: int


def harmonics_along(tone: PlayedTone, volts: Array, rate_hz: float, highest: int) -> HarmonicsAlong:
    """Harmonics 1 to `highest` of a tone by its measured phase, as far as the rate holds them.

    Parameters
    ----------
    tone : PlayedTone
        The tone, followed in these samples.
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    highest : int
        The highest order, >= 2.

    Returns
    -------
    HarmonicsAlong
        From the stretch without a drop-out.

    Raises
    ------
    Refusal
        Where that stretch is shorter than 3 s.

    Notes
    -----
    Each segment of half a second, windowed, is multiplied by exp(-j k phase), in which harmonic k
    stands still however the speed moves, and averaged; the segments' scatter is the noise.
    """
    times, phase = _phase(tone)
    segments = int((times[-1] - times[0]) / SEGMENT_S) if len(times) > 1 else 0
    if segments < LEAST_SEGMENTS:
        raise Refusal(
            f"less than {in_text(SEGMENT_S * LEAST_SEGMENTS, 's')} of the tone without a drop-out"
        )
    orders = np.arange(1, min(highest, int(BAND * rate_hz / tone.carrier_hz)) + 1)
    first, length = math.ceil(times[0] * rate_hz), int(SEGMENT_S * rate_hz)
    window = np.hanning(length)
    found = np.empty((segments, len(orders)), dtype=complex)
    for n in range(segments):
        place = first + n * length + np.arange(length)
        turn = np.exp(-1j * np.interp(place / rate_hz, times, phase))
        weighted, power = volts[place] * window, np.ones(length, dtype=complex)
        for k in range(len(orders)):
            power *= turn
            found[n, k] = 2 * np.dot(weighted, power) / window.sum()
    return _averaged(orders, found)


def _phase(tone: PlayedTone) -> tuple[Array, Array]:
    """Times in s from the record's begin, and the tone's phase there, of the clear stretch."""
    clear = tone.clear
    times = EDGE_S + np.arange(clear.start, clear.stop) / tone.rate_hz
    own = np.unwrap(np.angle(tone.phasor[clear]))
    return times, np.asarray(2 * np.pi * tone.carrier_hz * times + own)


def _averaged(orders: np.ndarray, found: np.ndarray) -> HarmonicsAlong:
    count = len(found)
    mean = found.mean(axis=0)
    # Of a complex mean; each of its two parts scatters with half of it.
    variance = np.square(np.abs(found - mean)).sum(axis=0) / (count * (count - 1))
    amplitude = np.sqrt(np.maximum(np.square(np.abs(mean)) - variance, 0.0))
    return HarmonicsAlong(orders, amplitude, np.sqrt(variance / 2), count)
