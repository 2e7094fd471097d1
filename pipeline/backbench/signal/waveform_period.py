"""One period of a periodic track, put together from its harmonics."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from backbench.errors import Refusal
from backbench.signal.spectrum import read_lines
from backbench.signal.tone import PASS_BAND
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Array, Track

LEAST_ORDER = 18
"""Fewer harmonics than this leave no level between the ringing of the converter's own filter:
a state is then less than 20 of its rise times long."""
POINTS = 8192
FINER = 16
THIRD = (0.15, 0.45)
"""Third harmonic over the fundamental; an ideal square has a third."""

MOST_SECOND = 0.1
"""Second harmonic over the fundamental; states that differ by 6 % in length have this."""


class Period(NamedTuple):
    """One period, evenly spaced, the middle of its upward transition near 0 s.

    noise: standard deviation that the record's noise gives each instant, V.
    """

    time_s: Array
    volts: Array
    frequency_hz: float
    noise: float


def one_period(track: Track, stated_hz: float, mains_hz: float | None) -> Period:
    """The mean period of a square wave in a track, as the converter's band lets it through.

    Parameters
    ----------
    track : Track
        The record.
    stated_hz : float
        Frequency as stated, Hz.
    mains_hz : float or None
        Nominal mains frequency, Hz; None where unknown.

    Returns
    -------
    Period

    Raises
    ------
    Refusal
        For an unfit record, another frequency, a wave that isn't square, states that differ in
        length, or a band that ends below the 18th harmonic.
    """
    top = PASS_BAND * track.rate_hz
    if LEAST_ORDER * stated_hz > top:
        raise Refusal(
            f"a sample rate of {track.rate_hz:g} Hz holds fewer than {LEAST_ORDER} harmonics of "
            f"{stated_hz:g} Hz: too few for a square wave; take one of {top / LEAST_ORDER:.3g} Hz "
            "or less, or an oscilloscope's trace"
        )
    found = find_tone(track, stated_hz, mains_hz)
    own = found.spectrum
    last = int(min(top / own.resolution_hz, len(found.noise) - 8) / found.position)
    orders = np.arange(1, last + 1)
    positions: Array = np.asarray(orders * found.position, dtype=np.float64)
    lines = read_lines(own, positions)
    peaks = np.sqrt(2 * lines.square)
    if not THIRD[0] < peaks[2] / peaks[0] < THIRD[1]:
        raise Refusal("not a square wave: its third harmonic isn't a third of the fundamental")
    if peaks[1] > MOST_SECOND * peaks[0]:
        raise Refusal("the states differ in length: its second harmonic is too strong")
    # The fundamental becomes a sine, so that the wave rises through its middle near 0 s.
    phase = lines.phase - orders * (lines.phase[0] + np.pi / 2)
    size = max(POINTS, 2 ** int(np.ceil(np.log2(FINER * last))))
    bins = np.zeros(size // 2 + 1, dtype=np.complex128)
    bins[0] = own.mean * size
    bins[1 : last + 1] = peaks * np.exp(1j * phase) * size / 2
    volts = np.fft.irfft(bins, size)
    noise = float(np.sqrt(np.sum(lines.noise * found.noise[np.rint(positions).astype(int)])))
    frequency = found.frequency_hz
    return Period(np.arange(size) / size / frequency, volts, frequency, noise)
