"""Sums of a band of which some ranges are left out."""

from __future__ import annotations

import math

import numpy as np

from backbench.signal.power import MeanSquare, noise_sum
from backbench.signal.track import Array


def widened(left: MeanSquare, variance: float) -> MeanSquare:
    """A sum that is more uncertain by so much.

    Parameters
    ----------
    left : MeanSquare
        V^2.
    variance : float
        V^4, >= 0.

    Returns
    -------
    MeanSquare
    """
    if variance <= 0:
        return left
    floor = left.floor + variance
    return MeanSquare(left.value, floor, left.slope, samples=2 * left.value**2 / floor)


def with_lines(left: MeanSquare, hidden: float) -> MeanSquare:
    """A sum of noise with lines known from others alike, as uncertain as they are strong.

    All are reckoned from lines beside them: where those mislead, they do so for all alike.

    Parameters
    ----------
    left : MeanSquare
        V^2, of noise.
    hidden : float
        Mean square of all lines together, V^2.

    Returns
    -------
    MeanSquare
    """
    value, floor = left.value + hidden, left.floor + hidden**2
    return MeanSquare(value, floor, samples=2 * value**2 / floor if floor > 0 else math.inf)


def filled(
    power: Array,
    noise: Array,
    removed: list[slice],
    band: slice,
    spread: float,
    samples: float,
) -> MeanSquare:
    """Sum of a band in which the noise stands in for the ranges that are left out.

    Parameters
    ----------
    power, noise : ndarray of float64, shape (n,)
        By bin of the band, V^2.
    removed : list of slice
        Of the spectrum's bins: what is left out.
    band : slice
        Of the spectrum's bins.
    spread : float
        Of the window (see Window).
    samples : float
        Degrees of freedom of the noise that stands in.

    Returns
    -------
    MeanSquare
        V^2.
    """
    kept, gone = _parted(removed, band)
    standing_in = sum([float(np.add.reduce(noise[bins])) for bins in gone])
    left = noise_sum(power, noise, spread, kept)
    floor = left.floor + 2 * standing_in**2 / samples
    value = left.value + standing_in
    return MeanSquare(value, floor, samples=2 * value**2 / floor if floor > 0 else math.inf)


def _parted(removed: list[slice], band: slice) -> tuple[list[slice], list[slice]]:
    """What is left of a band, and what isn't, in ranges counted from its first bin."""
    start, stop = band.start, band.stop
    kept, gone, at = [], [], start
    for low, high in sorted([(bins.start, bins.stop) for bins in removed]):
        first, last = min(max(low, at), stop), min(max(high, at), stop)
        kept.append(slice(at - start, first - start))
        gone.append(slice(first - start, last - start))
        at = last
    return [*kept, slice(at - start, stop - start)], gone


def notch_power(square: Array, q: float) -> Array:
    """Power factor of a second-order notch at frequencies relative to its own.

    Parameters
    ----------
    square : ndarray of float64, shape (n,)
        Square of the frequency over the notch's own, > 0; what is given is written over.
    q : float
        Quality, > 0.

    Returns
    -------
    ndarray of float64, shape (n,)
        0 to 1.

    Notes
    -----
    |H|^2 = (1 - x^2)^2 / ((1 - x^2)^2 + (x / q)^2): the analogue filter, -3 dB at a width of 1 / q.
    """
    away: Array = 1 - square
    away *= away
    square *= 1 / q**2
    square += away
    return np.divide(away, square, out=square)
