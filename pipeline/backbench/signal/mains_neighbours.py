"""How strong the multiples of a mains frequency around one of them are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.spectrum import Spectrum
from backbench.signal.track import Array

OFF_NOMINAL = 0.002
"""How far the mains may be from its nominal frequency: common practice, no source."""
NEIGHBOUR_MULTIPLES = np.array([-4, -3, -2, -1, 1, 2, 3, 4])
"""Multiples that are looked at around a harmonic."""
EVEN = np.flatnonzero(NEIGHBOUR_MULTIPLES % 2 == 0)
STANDING = 6.0
"""A mains line stands out above so many standard deviations of the noise in its lobe."""
POOLED = 3.0
"""Standard deviations of their mean above which weak lines stand out together."""


class Around(NamedTuple):
    """Multiples of the mains in a record, around which others are looked at.

    Parameters
    ----------
    spectrum : Spectrum
        Of the record.
    noise : ndarray of float64, shape (bins,)
        Mean noise power by bin, V^2.
    nearest : ndarray of float64, shape (n,)
        The multiples.
    steps : ndarray of float64, shape (n,)
        Mains frequency of each, bins, > 0.
    apart : callable
        Gives the distance of positions, bins, to the nearest line that the stimulus may make.
    half : float
        Bins on each side that such a line takes.
    """

    spectrum: Spectrum
    noise: Array
    nearest: Array
    steps: Array
    apart: Callable[[Array], Array]
    half: float


def strongest_around(each: Sequence[Around]) -> tuple[Array, NDArray[np.bool_]]:
    """The strongest of the multiples around each one, and whether these tell of it at all.

    Parameters
    ----------
    each : sequence of Around
        Of spectra of as many bins, with one window; one at least.

    Returns
    -------
    strongest : ndarray of float64, shape (k,)
        Mean square, V^2, of those of the first record, then of the next. Lines that don't stand
        out one by one may do so together: then the most that their mean may be.
    known : ndarray of bool, shape (k,)
    """
    rows = [
        slice(*ends) for ends in pairwise(accumulate((len(o.nearest) for o in each), initial=0))
    ]
    step = np.concatenate([one.steps for one in each])[:, None]
    centres = (np.concatenate([one.nearest for one in each])[:, None] + NEIGHBOUR_MULTIPLES) * step
    window, top = each[0].spectrum.window, len(each[0].noise)
    lobe = window.half_width
    reach = np.minimum(lobe + OFF_NOMINAL * centres, step / 2)
    first = np.floor(centres - reach).astype(int)
    last = np.ceil(centres + reach).astype(int) + 1
    clear = (first > lobe) & (last < top)
    for one, own in zip(each, rows, strict=True):
        clear[own] &= one.apart(centres[own]) > one.half + reach[own]
    # One bin stands for a place that isn't clear: as near to it as the rest, which spares sums.
    first = np.minimum(np.maximum(first, 0), top - 2)
    last = np.where(clear, last, first + 1)
    at = np.where(clear, np.rint(centres).astype(int), 0)
    middle, square = np.empty(at.shape), np.empty(at.shape)
    for one, own in zip(each, rows, strict=True):
        one.noise.take(at[own], out=middle[own])
        square[own] = _sums_between(one.spectrum.power, first[own], last[own])
    middle *= clear
    width = last - first
    # Both are 0 where a place isn't clear.
    square = clear * (square - width * middle)
    scatter = middle * np.sqrt(window.spread * width)
    standing = np.where(square > STANDING * scatter, square, 0.0)
    known: NDArray[np.bool_] = np.logical_or.reduce(clear[:, EVEN], axis=1)
    count = np.maximum(np.add.reduce(clear, axis=1, dtype=int), 1)
    mean = np.add.reduce(square, axis=1) / count
    own_mean = POOLED * np.sqrt(np.add.reduce(scatter * scatter, axis=1)) / count
    together = np.where(mean > own_mean, mean + own_mean, 0.0)
    strongest: Array = np.maximum(np.maximum.reduce(standing, axis=1), together)
    return strongest, known


def _sums_between(power: Array, first: NDArray[np.int_], last: NDArray[np.int_]) -> Array:
    """Sums of ranges of bins, without a running sum whose rounding hides small lines.

    Each range holds a bin at least, and ends before the last bin: what stands between two
    ranges is summed too, and left out.
    """
    if not len(first):
        return np.zeros(first.shape)
    bounds = np.stack([first, last], axis=-1).ravel()
    sums: Array = np.add.reduceat(power, bounds)[::2].reshape(first.shape)
    return sums
