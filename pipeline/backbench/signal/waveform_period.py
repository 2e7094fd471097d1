"""One period of a periodic track, put together from its harmonics."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.line_course import (
    COARSE_RATE_HZ,
    LineCourse,
    kept_of,
    line_course,
    means_of,
)
from backbench.signal.spectrum import Lines, read_lines
from backbench.signal.tone import PASS_BAND, ToneLines
from backbench.signal.tone_search import find_tone, seek_tone
from backbench.signal.track import Array, Track
from backbench.signal.window import Complex

LEAST_ORDER = 18
"""Fewer harmonics than this leave no level between the ringing of the converter's own filter:
a state is then less than 20 of its rise times long."""
POINTS = 8192
FINER = 16
THIRD = (0.15, 0.45)
"""Third harmonic over the fundamental; an ideal square has a third."""

TABLE_BITS = 15
TABLE = 2**TABLE_BITS
"""Points of a period from which the mean wave of a whole record is looked up."""
TURN_BITS = 64
"""Of a phase as a whole number, whose overflow leaves whole turns out."""
STILL = 1e-6
"""Share of the power beside a square wave's harmonics below which a change of the wave, then of
0.2 % or 2 mrad at most, doesn't show in its edges."""
MOST_SECOND = 0.1
"""Second harmonic over the fundamental; states that differ by 6 % in length have this."""


class Period(NamedTuple):
    """One period, evenly spaced, the middle of its upward transition near 0 s.

    Parameters
    ----------
    time_s : ndarray of float64, shape (n,)
        s, evenly spaced.
    volts : ndarray of float64, shape (n,)
        V.
    frequency_hz : float
        Hz.
    noise : float
        Standard deviation that the record's noise gives each instant, V.
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
            f"a sample rate of {in_text(track.rate_hz, 'Hz', 6)} holds fewer than "
            f"{LEAST_ORDER} harmonics of "
            f"{in_text(stated_hz, 'Hz', 6)}: too few for a square wave; take one of "
            f"{in_text(top / LEAST_ORDER, 'Hz')} "
            "or less, or an oscilloscope's trace"
        )
    tone_lines = find_tone(track, stated_hz, mains_hz)
    own = tone_lines.spectrum
    orders, lines, noises = _harmonics(tone_lines)
    last = len(orders)
    peaks = np.sqrt(2 * lines.square)
    if not THIRD[0] < peaks[2] / peaks[0] < THIRD[1]:
        raise Refusal(
            "not a square wave: its third harmonic isn't a third of the fundamental; check what "
            "was played"
        )
    if peaks[1] > MOST_SECOND * peaks[0]:
        raise Refusal("the states differ in length: its second harmonic is too strong")
    # The fundamental becomes a sine, so that the wave rises through its middle near 0 s.
    phase = lines.phase - orders * (lines.phase[0] + np.pi / 2)
    size = max(POINTS, 2 ** int(np.ceil(np.log2(FINER * last))))
    volts = _wave(peaks * np.exp(1j * phase), size) + own.mean
    noise = math.sqrt(float(noises.sum()))
    frequency = tone_lines.frequency_hz
    return Period(np.arange(size) / size / frequency, volts, frequency, noise)


def period_course(
    track: Track, stated_hz: float, mains_hz: float | None
) -> tuple[LineCourse, float]:
    """The fundamental of a square wave from block to block, its mean harmonics taken off.

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
    course : LineCourse
        Of the fundamental. What is left are noise, hum, and what a change within the record makes
        of the harmonics.
    beside : float
        Noise beside the harmonics, share of the fundamental's power, at least STILL.

    Raises
    ------
    Refusal
        As seek_tone.
    ValueError
        Where the record is too short for two blocks.
    """
    tone_lines = seek_tone(track, stated_hz, mains_hz)
    orders, lines, _ = _harmonics(tone_lines)
    few = max(int(track.rate_hz / COARSE_RATE_HZ), 1)
    peaks = np.sqrt(2 * lines.square) * np.exp(1j * _from_start(tone_lines, lines.phase, orders))
    turn = few * 2 * math.pi * tone_lines.frequency_hz / track.rate_hz
    peaks *= kept_of(turn * orders.astype(np.float64), few)
    peaks[0] = 0
    wave = _wave(peaks, TABLE)
    turns = tone_lines.frequency_hz / track.rate_hz
    volts = means_of(track.volts, few)
    volts -= wave.take(_points((few - 1) / 2 * turns, few * turns, len(volts)))
    course = line_course(volts, track.rate_hz / few, np.array([tone_lines.frequency_hz]))
    noise = float(tone_lines.noise.sum()) / tone_lines.whole.value
    return course, max(noise, STILL)


def _points(first: float, step: float, count: int) -> NDArray[np.int64]:
    """Points of the table at so many phases that rise evenly, turns."""
    begin, further = (np.uint64(round(turns * 2**TURN_BITS) % 2**TURN_BITS)
                      for turns in (first, step))  # fmt: skip
    phases = _numbers(count) * further
    phases += begin
    phases >>= np.uint64(TURN_BITS - TABLE_BITS)
    return phases.view(np.int64)


@lru_cache(maxsize=4)
def _numbers(count: int) -> NDArray[np.uint64]:
    """From 0 on; kept, as records of one length ask for the same."""
    numbers = np.arange(count, dtype=np.uint64)
    numbers.setflags(write=False)
    return numbers


_kept: WeakKeyDictionary[ToneLines, tuple[NDArray[np.int_], Lines, Array]] = WeakKeyDictionary()


def _harmonics(tone_lines: ToneLines) -> tuple[NDArray[np.int_], Lines, Array]:
    """Orders of the harmonics that the converter passes, these, and what noise adds to each, V^2;
    read once for each tone."""
    if tone_lines not in _kept:
        orders, positions = _orders(tone_lines)
        lines = read_lines(tone_lines.spectrum, positions)
        _kept[tone_lines] = orders, lines, lines.noise_at(positions, tone_lines.noise)
    return _kept[tone_lines]


def _orders(tone_lines: ToneLines) -> tuple[NDArray[np.int_], Array]:
    """Orders of the harmonics that the converter passes, and their positions in bins."""
    own = tone_lines.spectrum
    top = PASS_BAND * own.rate_hz / own.resolution_hz
    last = int(min(top, len(tone_lines.noise) - 8) / tone_lines.position)
    orders = np.arange(1, last + 1)
    return orders, np.asarray(orders * tone_lines.position, dtype=np.float64)


def _from_start(tone_lines: ToneLines, phase: Array, orders: NDArray[np.int_]) -> Array:
    """Phases at the record's first sample from those at its middle, rad."""
    own = tone_lines.spectrum
    middle = own.length / 2 / own.rate_hz
    return np.asarray(phase - 2 * np.pi * orders * tone_lines.frequency_hz * middle)


def _wave(peaks: Complex, size: int) -> Array:
    """One period of `size` points from the complex peak amplitudes of the harmonics."""
    from scipy import fft

    bins = np.zeros(size // 2 + 1, dtype=np.complex128)
    bins[1 : len(peaks) + 1] = peaks * size / 2
    return np.asarray(fft.irfft(bins, size, overwrite_x=True))
