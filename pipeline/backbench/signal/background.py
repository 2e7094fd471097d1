"""The noise under and between the lines of a spectrum."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array

RATIO = 2 ** (1 / 3)
LEAST_BINS = 24
MOST_SORTED = 700
SHORT = 256
"""Bins of a segment up to which its part of the background is drawn with those beside it."""
LN_2 = math.log(2)


def background(power: Array, free: NDArray[np.bool_], top: int) -> Array:
    """Mean noise power by bin, V^2, for bins 0 to top - 1; lines do not pull it up.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin, n >= top.
    free : ndarray of bool, shape (n,)
        True where a bin is known to be clear of lines.
    top : int
        Bins that are wanted, from bin 0.

    Returns
    -------
    ndarray of float64, shape (top,)
        V^2 by bin.

    Raises
    ------
    ValueError
        Where no bin below top is free.

    Notes
    -----
    Third-octave segments (24 free bins at least) give a median each, which for noise
    (chi-squared of two degrees of freedom) is ln 2 of the mean; between the middles of the
    segments it is interpolated, below the first it goes on as steeply as it rises there.
    """
    places = _places_among(np.packbits(free[:top]).tobytes(), top)
    centres, picked = places.centres, power[places.picked]
    for first, last, middle in places.segments:
        picked[first:last].partition(middle)
    # The middle value, of an even number the lower of the two.
    levels: list[float] = (picked[places.middles] / LN_2).tolist()
    noise = _joined(places, levels, top)
    below = min(math.ceil(centres[0]), top)
    away = centres[0] / np.maximum(np.arange(below), 1)
    noise[:below] *= away ** _steepness(centres, levels)
    return noise


class _FromCentre(NamedTuple):
    """A straight line from one centre to the next: which, the bins, and how far it reaches."""

    n: int
    bins: slice
    at: Array
    centre: float
    width: float


class _Places(NamedTuple):
    """Where the noise is read: centre of each segment, the bins that are picked, segment after
    segment, which of these are of each and which is the middle one, counted from its first and
    from the first of all; and the bins to either side of which short and long lines lie."""

    centres: list[float]
    picked: NDArray[np.intp]
    segments: list[tuple[int, int, int]]
    middles: NDArray[np.intp]
    low: slice
    long: list[_FromCentre]


@lru_cache(maxsize=8)
def _places_among(free: bytes, top: int) -> _Places:
    """free: a bit for each bin. Kept, as tracks of one record have the same free bins."""
    index = np.flatnonzero(np.unpackbits(np.frombuffer(free, dtype=np.uint8), count=top))
    if not len(index):
        raise ValueError("no bin is free of lines")
    centres, picked, ends = [], [], [0]
    for first, last in _segments(index):
        step = max(1, (last - first) // MOST_SORTED)
        centres.append(float(index[first] + index[last - 1]) / 2)
        picked.append(index[first:last:step])
        ends.append(ends[-1] + len(picked[-1]))
    segments = [(a, b, (b - a - 1) // 2) for a, b in pairwise(ends)]
    middles = np.array([first + middle for first, _, middle in segments])
    return _Places(centres, np.concatenate(picked), segments, middles, *_lines(centres, top))


def _lines(centres: list[float], top: int) -> tuple[slice, list[_FromCentre]]:
    """Bins of the short lines from centre to centre, and each of the long ones above them."""
    ends, places = [min(math.ceil(centre), top) for centre in centres], bin_numbers(top)
    # Of short lines the calls take longest: all in one.
    short = next((n for n, (a, b) in enumerate(pairwise(ends)) if b - a > SHORT), len(ends) - 1)
    long = [
        _FromCentre(n, slice(a, b), places[a:b], centres[n], centres[n + 1] - centres[n])
        for n, (a, b) in list(enumerate(pairwise(ends)))[short:]
    ]
    return slice(ends[0], ends[short]), long


def _joined(places: _Places, levels: list[float], top: int) -> Array:
    """Straight lines from centre to centre over bins 0 to top - 1, level beyond the ends.

    What np.interp gives, at a fraction of its time for evenly spaced places.
    """
    joined: Array = np.empty(top)
    joined[: places.low.start] = levels[0]
    joined[places.low] = np.interp(bin_numbers(top)[places.low], places.centres, levels)
    for n, bins, at, centre, width in places.long:
        slope = (levels[n + 1] - levels[n]) / width
        line = np.multiply(at, slope, out=joined[bins])
        line += levels[n] - slope * centre
    joined[min(math.ceil(places.centres[-1]), top) :] = levels[-1]
    return joined


@lru_cache(maxsize=4)
def bin_numbers(count: int) -> Array:
    """The numbers of bins, which lines over them are multiples of.

    Parameters
    ----------
    count : int
        Bins that are wanted, from bin 0.

    Returns
    -------
    ndarray of float64, shape (count,)
        Read only; kept, as several ask for them.
    """
    places = np.arange(float(count))
    places.setflags(write=False)
    return places


@lru_cache(maxsize=4)
def squared_bins(count: int) -> Array:
    """Squares of the numbers of bins.

    Parameters
    ----------
    count : int
        Bins that are wanted, from bin 0.

    Returns
    -------
    ndarray of float64, shape (count,)
        Read only; kept.
    """
    squares: Array = np.square(bin_numbers(count))
    squares.setflags(write=False)
    return squares


def _steepness(centres: list[float], levels: list[float]) -> float:
    """Power of frequency with which the noise rises towards 0, from the lowest three octaves.

    Held between 0 (white) and 2: electronic noise rises like 1/f, seldom more steeply.
    """
    above = next((n for n, c in enumerate(centres) if c >= 8 * centres[0]), len(centres) - 1)
    if above == 0 or levels[above] <= 0:
        return 0.0
    rise = math.log(max(levels[0], levels[above]) / levels[above])
    return min(rise / math.log(centres[above] / centres[0]), 2.0)


def degrees_of_freedom(position: float, spread: float) -> float:
    """Degrees of freedom of the background at a bin.

    Parameters
    ----------
    position : float
        The bin, >= 0.
    spread : float
        Of the window (see Window), > 0.

    Returns
    -------
    float
        Above 0.

    Notes
    -----
    The median of n independent bins has the relative variance 1 / (n ln^2 2); the window
    makes n / spread of them independent. Bins lost to lines are not reckoned with.
    """
    bins = max(LEAST_BINS, (RATIO - 1) * position)
    return 2 * math.log(2) ** 2 * bins / spread


def _segments(index: NDArray[np.intp]) -> list[tuple[int, int]]:
    """Ranges into the free bins, each a third of an octave or 24 bins wide, the wider."""
    ranges: list[tuple[int, int]] = []
    first, count = 0, len(index)
    while first < count:
        last = int(index.searchsorted(math.ceil(max(int(index[first]), 1) * RATIO)))
        last = max(last, first + LEAST_BINS)
        if count - last < LEAST_BINS:
            last = count
        ranges.append((first, last))
        first = last
    return ranges
