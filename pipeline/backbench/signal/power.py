"""Mean squares with their variance, and the sums of a spectrum's bins that give them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.track import Array
from backbench.signal.uncertainty import ONE_SIDED

STANDING = 3.6
"""A line stands out above so many standard deviations of what noise alone gives. For a single
line that is 4.6 times the noise power, which noise alone reaches once in a hundred."""
SURELY = 8.0
"""A line that is looked for in a place where there mostly is none is one from so many standard
deviations: of a single line, noise alone reaches them once in 8000."""
FEW_RANGES = 12
"""Ranges up to which their products are summed one by one, without being kept."""
ONE_THREAD = 8192
"""Values up to which a sum of products is made by one thread."""


class MeanSquare(NamedTuple):
    """A mean square, V^2, with the variance that the record's noise gives it, V^4.

    Parameters
    ----------
    value : float
        V^2; may be below 0 by noise.
    floor : float
        Variance where there is nothing but noise, V^4.
    slope : float
        What each V^2 of line adds to the variance, V^2.
    samples : float
        Degrees of freedom of the noise that both were reckoned from.
    """

    value: float
    floor: float
    slope: float = 0.0
    samples: float = math.inf

    @property
    def variance(self) -> float:
        """Variance of the value, V^4."""
        return self.floor + self.slope * self.value if self.value > 0 else self.floor

    @property
    def rms(self) -> float:
        """Root mean square, V; 0 where noise has taken the value below 0."""
        return math.sqrt(self.value) if self.value > 0 else 0.0

    @property
    def relative(self) -> float:
        """Relative standard uncertainty of the rms."""
        value = self.value
        return math.sqrt(self.floor + self.slope * value) / (2 * value) if value > 0 else math.inf

    @property
    def stands_out(self) -> bool:
        """Whether noise alone would hardly ever give this value."""
        return self.value > STANDING * math.sqrt(self.floor)

    @property
    def surely_stands_out(self) -> bool:
        """Whether this value is a line's even where most such places have none.

        Noise that is known from few bins may well be more than was found.
        """
        least = SURELY * (1 + math.sqrt(2 / self.samples))
        return self.value > least * math.sqrt(self.floor)

    @property
    def lifted_at_most(self) -> float:
        """The rms that 99 of 100 lines which look like this one stay below, V."""
        return self._read_above(max(self.value, STANDING * math.sqrt(self.floor)))

    @property
    def at_most(self) -> float:
        """The rms that a line must have to stand out in 99 of 100 such records, V.

        A line that doesn't stand out is weaker than that, whatever this record shows of it.
        """
        return self._read_above(STANDING * math.sqrt(self.floor))

    def _read_above(self, value: float) -> float:
        """The rms that a line must have to be read above a value, V^2, in 99 of 100 records, V."""
        k2 = ONE_SIDED**2
        half = value + k2 * self.slope / 2
        return math.sqrt(half + math.sqrt(half**2 - value**2 + k2 * self.floor))


def squared(bins: NDArray[np.complex128]) -> Array:
    """Squared magnitude by bin (quicker than by way of the magnitude).

    Parameters
    ----------
    bins : ndarray of complex128, shape (n,)
        A transform.

    Returns
    -------
    ndarray of float64, shape (n,)
        In the square of its unit.
    """
    if bins.flags.c_contiguous:
        parts = np.square(bins.view(np.float64))
        evenly: Array = parts[..., ::2] + parts[..., 1::2]
        return evenly
    squares: Array = np.square(bins.real)
    squares += np.square(bins.imag)
    return squares


def noise_sum(
    power: Array, noise: Array, spread: float, kept: Sequence[slice] = (slice(None),)
) -> MeanSquare:
    """Mean square of a sum of bins in which noise is part of what is sought.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin, as found.
    noise : ndarray of float64, shape (n,)
        V^2 by bin, of the noise alone.
    spread : float
        Of the window (see Window).
    kept : sequence of slice, optional
        The ranges of bins that count; all where not given.

    Returns
    -------
    MeanSquare
        V^2. Its noise isn't taken off.

    Notes
    -----
    A bin of noise S has the variance S^2; a line of power P adds 2 P S.
    """
    ranges = _ranges(kept, len(power))
    if len(ranges) <= FEW_RANGES:
        value, both, least = _sums_of_few(power, noise, ranges)
    else:
        bounds = np.array(ranges).ravel()
        value, both, least = (
            _sum_within(each, bounds) for each in (power, power * noise, noise * noise)
        )
    return mean_square_of(value, both, least, spread)


def mean_square_of(value: float, both: float, least: float, spread: float) -> MeanSquare:
    """As noise_sum, from sums over the bins.

    Parameters
    ----------
    value : float
        Of the power, V^2.
    both : float
        Of the products of power and noise, V^4.
    least : float
        Of the squares of the noise, V^4.
    spread : float
        Of the window (see Window).

    Returns
    -------
    MeanSquare
        V^2.
    """
    variance = max(2 * both - least, least)
    dof = 2 * value**2 / (spread * variance) if variance > 0 else math.inf
    return MeanSquare(value, spread * variance, samples=dof)


def line_power(power: Array, noise: Array, spread: float, samples: float) -> MeanSquare:
    """A line's mean square from all bins of its lobe, their noise taken off.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin of the lobe, as found.
    noise : ndarray of float64, shape (n,)
        V^2 by bin, of the noise alone.
    spread : float
        Of the window (see Window).
    samples : float
        Degrees of freedom of the noise.

    Returns
    -------
    MeanSquare
        V^2; may be below 0 by noise.

    Notes
    -----
    The sum over the lobe doesn't depend on where between two bins the line lies, nor on a
    slow drift of its frequency within the record.
    """
    value, least = float(np.add.reduce(power - noise)), float(np.add.reduce(noise * noise))
    slope = 2 * spread * float(np.add.reduce(noise)) / len(noise)
    return MeanSquare(value, spread * least, slope, samples)


def lobe_powers(
    power: Array, noise: Array, spread: float, samples: float, ends: Sequence[tuple[int, int]]
) -> list[MeanSquare]:
    """As line_power, of many lines at once.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin, as found.
    noise : ndarray of float64, shape (n,)
        V^2 by bin, of the noise alone.
    spread : float
        Of the window (see Window).
    samples : float
        Degrees of freedom of the noise.
    ends : sequence of (int, int)
        Each lobe's first bin and the one after its last, first < stop <= n. Lobes may overlap.

    Returns
    -------
    list of MeanSquare
        V^2; below 0 by noise where there is no line.
    """
    first, stop = np.array(ends, dtype=np.int_).reshape(-1, 2).T
    sums = (each.tolist() for each in lobes(power, noise, spread, first, stop))
    each = zip(*sums, strict=True)
    return [MeanSquare(value, floor, slope, samples) for value, floor, slope in each]


class Lobes(NamedTuple):
    """Mean squares of many lines with their variance.

    Parameters
    ----------
    value, floor, slope : ndarray of float64, shape (m,)
        Those of MeanSquare.
    """

    value: Array
    floor: Array
    slope: Array


def lobes(
    power: Array,
    noise: Array,
    spread: float,
    first: NDArray[np.int_],
    stop: NDArray[np.int_],
) -> Lobes:
    """Mean squares of many lines with their variance, as line_power gives one.

    Parameters
    ----------
    power : ndarray of float64, shape (n,)
        V^2 by bin, as found.
    noise : ndarray of float64, shape (n,)
        V^2 by bin, of the noise alone.
    spread : float
        Of the window (see Window).
    first, stop : ndarray of int, shape (m,)
        Each lobe's first bin and the one after its last, first < stop <= n. Lobes may overlap.

    Returns
    -------
    Lobes
        Values below 0 by noise where there is no line.
    """
    if not len(first):
        return Lobes(np.zeros(0), np.zeros(0), np.zeros(0))
    width = stop - first
    bins = np.add.outer(first, np.arange(int(width.max())))
    inside = bins < stop[:, None]
    np.minimum(bins, len(noise) - 1, out=bins)
    own, found = noise[bins], power[bins]
    own *= inside
    found *= inside
    found -= own
    least = np.einsum("ij,ij->i", own, own)
    slope = np.add.reduce(own, axis=1) * (2 * spread) / width
    return Lobes(np.add.reduce(found, axis=1), spread * least, slope)


def _ranges(kept: Sequence[slice], count: int) -> list[tuple[int, int]]:
    """First and last + 1 of ranges that hold a bin at least."""
    each = [bins.indices(count) for bins in kept]
    return [(first, last) for first, last, _ in each if last > first]


def _sums_of_few(
    power: Array, noise: Array, ranges: list[tuple[int, int]]
) -> tuple[float, float, float]:
    """Sums of the power, of its product with the noise and of the noise's square in ranges."""
    value = both = least = 0.0
    for first, last in ranges:
        found, own = power[first:last], noise[first:last]
        value += float(np.add.reduce(found))
        both += product(found, own)
        least += product(own, own)
    return value, both, least


def product(one: Array, other: Array) -> float:
    """Sum of the products of two rows, to the same digits however many threads there are.

    Parameters
    ----------
    one, other : ndarray of float64, shape (n,)
        In any unit.

    Returns
    -------
    float
        In the product of their units.
    """
    # In pieces so short that no linear algebra library starts threads.
    if len(one) <= ONE_THREAD:
        return float(one.dot(other))
    even = len(one) // ONE_THREAD * ONE_THREAD
    rows = np.vecdot(one[:even].reshape(-1, ONE_THREAD), other[:even].reshape(-1, ONE_THREAD))
    return float(np.add.reduce(rows)) + float(one[even:].dot(other[even:]))


def products(rows: Array, others: Array) -> Array:
    """Sums of the products of each row with each of the others, as product gives one.

    Parameters
    ----------
    rows : ndarray of float64, shape (a, n)
        In any unit.
    others : ndarray of float64, shape (b, n)
        In any unit.

    Returns
    -------
    ndarray of float64, shape (a, b)
        In the product of their units.
    """
    even = rows.shape[1] // ONE_THREAD * ONE_THREAD
    one, other = rows[:, None], others[None]
    summed: Array = np.vecdot(one[..., even:], other[..., even:])
    if even:
        pieces = (
            each[..., :even].reshape(*each.shape[:2], -1, ONE_THREAD) for each in (one, other)
        )
        summed += np.add.reduce(np.vecdot(*pieces), axis=2)
    return summed


def _sum_within(values: Array, bounds: NDArray[np.intp]) -> float:
    """Sum of the values in ranges that rise, each [::2] of the bounds to the next."""
    if not len(bounds):
        return 0.0
    # The last range may end where the values do, which is no place to start from.
    values, bounds = values[: bounds[-1]], bounds[:-1]
    return float(np.add.reduceat(values, bounds)[::2].sum())
