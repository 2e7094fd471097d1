"""The noise under and between the lines of a spectrum."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.segment_medians import Segments
from backbench.signal.track import Array

RATIO = 2 ** (1 / 3)
LEAST_BINS = 24
MOST_SORTED = 700
SHORT = 256
"""Bins of a segment up to which its part of the background is drawn with those beside it."""
LN_2 = math.log(2)


def background(power: Array, free: NDArray[np.bool_], top: int, *, curved: bool = False) -> Array:
    """Mean noise power by bin, V^2, for bins 0 to top - 1; lines do not pull it up.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin, n >= top.
    free : ndarray of bool, shape (n,)
        True where a bin is known to be clear of lines.
    top : int
        Bins that are wanted, from bin 0.
    curved : bool
        Whether noise that rises towards low frequencies is drawn as a power of frequency between
        the lowest segments, too; else by straight lines, which lie above it.

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
    places = _places_among(np.packbits(free[:top]).tobytes(), top, middle=curved)
    drawn: Array = _of_alike([power], places, top, curved=curved)[0]
    return drawn


def backgrounds(
    powers: Sequence[Array], frees: Sequence[NDArray[np.bool_]], top: int
) -> list[Array]:
    """As background, of several spectra: those with the same free bins in the time of one.

    Parameters
    ----------
    powers : sequence of ndarray of float64, shape (n,)
        V^2 by bin, n >= top.
    frees : sequence of ndarray of bool, shape (n,)
        Of each, as of background.
    top : int
        As of background.

    Returns
    -------
    list of ndarray of float64, shape (top,)
        V^2 by bin.

    Raises
    ------
    ValueError
        As background.
    """
    keys = [np.packbits(free[:top]).tobytes() for free in frees]
    found: dict[int, Array] = {}
    for free in dict.fromkeys(keys):
        alike = [n for n, key in enumerate(keys) if key == free]
        noise = _of_alike([powers[n] for n in alike], _places_among(free, top), top)
        found.update(zip(alike, noise, strict=True))
    return [found[n] for n in range(len(keys))]


def _of_alike(powers: Sequence[Array], places: _Places, top: int, *, curved: bool = False) -> Array:
    """The background of spectra whose noise is read at the same places, a row for each."""
    picked = np.empty((len(powers), len(places.picked)))
    for power, row in zip(powers, picked, strict=True):
        # All places are within: without their being checked, each value is moved once.
        power.take(places.picked, out=row, mode="clip")
    levels = places.segments.medians(picked)
    levels /= LN_2
    noise, lowest = _joined(places, levels, top), places.centres[0]
    below = min(math.ceil(lowest), top)
    away = lowest / np.maximum(bin_numbers(below), 1)
    for own, at_centres in zip(noise, levels.tolist(), strict=True):
        steepness = _steepness(places.centres, at_centres)
        own[:below] *= away**steepness
        if curved and steepness > 0:
            _curve(own, places.centres, at_centres, steepness)
    return noise


def _curve(noise: Array, centres: list[float], levels: list[float], steepness: float) -> None:
    """Draw what is between the centres of the lowest three octaves as a power of frequency.

    What the noise is more or less than that power is interpolated, so that it stays as it was at
    the centres.
    """
    last = _above(centres)
    first, stop = math.ceil(centres[0]), min(math.ceil(centres[last]), len(noise))
    bins, at = bin_numbers(stop)[first:], np.array(centres[: last + 1])
    noise[first:stop] = np.interp(bins, at, levels[: last + 1] * at**steepness) / bins**steepness


def _above(centres: list[float]) -> int:
    """The first centre three octaves above the lowest, or the last that there is."""
    return next((n for n, c in enumerate(centres) if c >= 8 * centres[0]), len(centres) - 1)


class _LongLine(NamedTuple):
    """A straight line from one centre to the next: which, and the bins on it."""

    n: int
    bins: slice
    at: Array


class _ShortLines(NamedTuple):
    """Bins on short lines: on which each lies, and how far from the centre that this begins at."""

    bins: slice
    on: NDArray[np.intp]
    away: Array


class _Places(NamedTuple):
    """Where the noise is read: centre of each segment, the bins that are picked, segment after
    segment, and the lines from centre to centre, short ones and long ones above them."""

    centres: list[float]
    picked: NDArray[np.intp]
    segments: Segments
    low: _ShortLines
    long: list[_LongLine]


@lru_cache(maxsize=8)
def _places_among(free: bytes, top: int, *, middle: bool = False) -> _Places:
    """free: a bit for each bin. Kept, as tracks of one record have the same free bins.

    middle: whether the centre of a segment is the middle one of its free bins, where a median of
    steep noise belongs, or half way between the first and the last.
    """
    index = np.flatnonzero(np.unpackbits(np.frombuffer(free, dtype=np.uint8), count=top))
    if not len(index):
        raise ValueError("no bin is free of lines")
    centres, picked, ends = [], [], [0]
    for first, last in _segments(index):
        step = max(1, (last - first) // MOST_SORTED)
        about = (first + last - 1) // 2, (first + last) // 2
        low, high = about if middle else (first, last - 1)
        centres.append(float(index[low] + index[high]) / 2)
        picked.append(index[first:last:step])
        ends.append(ends[-1] + len(picked[-1]))
    return _Places(centres, np.concatenate(picked), Segments.between(ends), *_lines(centres, top))


def _lines(centres: list[float], top: int) -> tuple[_ShortLines, list[_LongLine]]:
    """The short lines from centre to centre, and the long ones above them."""
    ends, places = [min(math.ceil(centre), top) for centre in centres], bin_numbers(top)
    # Of short lines the calls take longest: all in one.
    short = next((n for n, (a, b) in enumerate(pairwise(ends)) if b - a > SHORT), len(ends) - 1)
    long = [
        _LongLine(n, slice(a, b), places[a:b])
        for n, (a, b) in list(enumerate(pairwise(ends)))[short:]
    ]
    on = np.repeat(np.arange(short), np.diff(ends[: short + 1]))
    bins = slice(ends[0], ends[short])
    return _ShortLines(bins, on, places[bins] - np.array(centres)[on]), long


def _joined(places: _Places, levels: Array, top: int) -> Array:
    """Straight lines from centre to centre over bins 0 to top - 1, level beyond the ends.

    What np.interp gives, at a fraction of its time for evenly spaced places.
    """
    centres, low = np.array(places.centres), places.low
    slopes = (levels[:, 1:] - levels[:, :-1]) / (centres[1:] - centres[:-1])
    at_0 = levels[:, :-1] - slopes * centres[:-1]
    joined: Array = np.empty((len(levels), top))
    joined[:, : low.bins.start] = levels[:, :1]
    line = np.multiply(slopes.take(low.on, axis=1), low.away, out=joined[:, low.bins])
    line += levels.take(low.on, axis=1)
    for n, bins, at in places.long:
        line = np.multiply(at, slopes[:, n : n + 1], out=joined[:, bins])
        line += at_0[:, n : n + 1]
    joined[:, min(math.ceil(places.centres[-1]), top) :] = levels[:, -1:]
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
    above = _above(centres)
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
