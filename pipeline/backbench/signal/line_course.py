"""How the lines of a record hold from block to block in time, and what is left beside them.

Every block is fitted with the same sinusoids by least squares (IEEE 1057, sine fit of known
frequency, block by block). Unlike a windowed spectrum, which hardly sees a record's ends, all
samples count alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from backbench.signal.kept_property import kept_property
from backbench.signal.quantiles import middle, quantile_of_rising
from backbench.signal.track import Array
from backbench.signal.window import Complex

BLOCKS = 32
LEAST_PERIODS = 2.5
"""Periods of the slowest beat that a block holds, so that its lines can be told apart."""
PART_S = 1e-3
COARSE_RATE_HZ = 40_000.0
"""A record is averaged over neighbouring samples down to about this rate before it is fitted."""
SPARE = 2.2
"""Times the highest line, below which that rate isn't taken."""

MANY = 8
"""Neighbours from which their mean is quicker as a product than by adding two and two."""

TURN = 2 * math.pi
STRETCHED = 2, 6
"""Times the root of a block's length that a stretch has at least, and may have so that it divides
the block: products of longer tables are quicker than many of short ones."""


@dataclass(frozen=True, eq=False)
class LineCourse:
    """Lines of a record from block to block.

    Parameters
    ----------
    phasors : ndarray of complex128, shape (blocks, lines)
        Peak amplitude and phase against the mean frequency by block and line, V.
    offset : ndarray of float64, shape (blocks,)
        Steady part by block, V.
    left : ndarray of float64, shape (blocks, parts)
        Mean square of what is left by block and part of a block (1 ms, or a period of the lowest
        line where that is longer), V^2.
    length : int
        Samples a block.
    rate_hz : float
        Of the record, Hz.
    turns : ndarray of float64, shape (lines,)
        Periods of each line in a block.
    beside : ndarray of float64, shape (lines,), or None
        Peak amplitude of what stands so near to each line that a block doesn't tell it apart, and
        the record does, V. None where it isn't known.
    """

    phasors: Complex
    offset: Array
    left: Array
    length: int
    rate_hz: float
    turns: Array
    beside: Array | None = None

    @kept_property
    def left_by_block(self) -> Array:
        """Mean square of what is left by block, V^2."""
        mean_square: Array = np.add.reduce(self.left, axis=1)
        mean_square /= self.left.shape[1]
        return mean_square

    @kept_property
    def level(self) -> Array:
        """Peak amplitude by block and line, V."""
        return np.abs(self.phasors)

    @kept_property
    def usual_level(self) -> Array:
        """Median over the blocks of each line's level, V."""
        return middle(self.level)

    @kept_property
    def usual_left(self) -> float:
        """Median over the blocks of what is left, V^2."""
        return float(middle(self.left_by_block))

    @kept_property
    def still(self) -> Complex:
        """The first line by block re its mean level and even turning."""
        level = self.level[:, 0]
        return turned_by(self.turning) * (level / (float(np.add.reduce(level)) / len(level)))

    @kept_property
    def phase(self) -> Array:
        """Phase by block and line re that of its strongest block, which goes on from block to block
        without jumps, rad. The same to the last digit whatever the polarity of the record."""
        strongest = self.level.argmax(axis=0)
        own = self.phasors[strongest, np.arange(len(strongest))]
        angle: Array = np.angle(self.phasors * own.conj())
        turns = np.rint((angle[1:] - angle[:-1]) / TURN)
        angle[1:] -= TURN * np.add.accumulate(turns, axis=0)
        return angle

    @kept_property
    def turning(self) -> Array:
        """How far the first line's phase is off even turning, by block, rad."""
        phase, at = self.phase[:, 0], _from_middle(len(self.phasors))
        slope = float(at @ phase) / max(float(at @ at), 1.0)
        return np.asarray(phase - np.add.reduce(phase) / len(phase) - at * slope)

    @kept_property
    def noise(self) -> Array:
        """Relative standard deviation that what is left gives each line's level in a block."""
        return math.sqrt(2 * self.usual_left / self.length) / self.usual_level

    @kept_property
    def wavering(self) -> float:
        """Mean square by which the first line is off one level and even turning, re its own."""
        away = self.still - 1
        return float(np.vdot(away, away).real) / len(away)

    def left_within(self, share: float) -> float:
        """What a share of the parts of blocks stays within, V^2.

        Parameters
        ----------
        share : float
            0 to 1.

        Returns
        -------
        float
            V^2.
        """
        return quantile_of_rising(self._left_rising, share)

    @kept_property
    def _left_rising(self) -> Array:
        return np.sort(self.left, axis=None)

    @property
    def block_s(self) -> float:
        """Length of a block, s."""
        return self.length / self.rate_hz


@lru_cache(maxsize=8)
def _from_middle(count: int) -> Array:
    """The numbers of so many blocks, less that of the one in the middle."""
    return np.asarray(np.arange(count) - (count - 1) / 2)


def line_course(
    volts: Array, rate_hz: float, lines_hz: Array, apart_hz: float | None = None
) -> LineCourse:
    """Lines of known frequency in each block of a record.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    rate_hz : float
        Sample rate, Hz.
    lines_hz : ndarray of float64, shape (k,)
        Frequencies, Hz, > 0.
    apart_hz : float, optional
        Least distance of two lines, or of one from 0 Hz, Hz; found from them where not given.

    Returns
    -------
    LineCourse

    Raises
    ------
    ValueError
        Where the record doesn't hold two blocks of 2.5 periods of apart_hz.

    Notes
    -----
    Samples after the last whole block aren't looked at. Neighbouring samples are averaged where the
    lines are low enough; what that takes off a line is put back. Double precision: the digits are
    the same on every kernel of the linear algebra.

    References
    ----------
    IEEE 1057 (sine fit of known frequency).
    """
    apart = _least_apart(lines_hz) if apart_hz is None else apart_hz
    few = _averaged(rate_hz, float(np.max(lines_hz)))
    length = max(len(volts) // BLOCKS, int(LEAST_PERIODS * rate_hz / apart) + 1)
    length = few * max(length // few, 1)
    blocks = len(volts) // length
    if blocks < 2:
        raise ValueError("too short for two blocks")
    turns, count = few * TURN * lines_hz / rate_hz, length // few
    waves = _Waves.over(turns, count)
    held = volts[: blocks * length]
    means = held if few == 1 else means_of(held, few)
    given = waves.parted(means.reshape(blocks, count))
    parts = _fitted(waves.products(given), turns, count)
    rest = waves.taken_off(given, parts)[:, :count]
    lines = len(lines_hz)
    phasors = parts[:, 1 : lines + 1] - 1j * parts[:, lines + 1 :]
    middle = ((np.arange(blocks) + 0.5) * length - 0.5) / rate_hz
    phasors *= turned_by(-TURN * np.multiply.outer(middle, lines_hz))
    phasors /= kept_of(turns, few)
    left = _left(rest, rate_hz / few, max(PART_S, 1 / float(np.min(lines_hz))))
    return LineCourse(phasors, parts[:, 0], left, length, rate_hz, lines_hz * length / rate_hz)


def _averaged(rate_hz: float, highest_hz: float) -> int:
    """How many neighbouring samples are averaged before lines up to a frequency are fitted."""
    return max(int(rate_hz / max(COARSE_RATE_HZ, SPARE * highest_hz)), 1)


def kept_of(turns: Array, few: int) -> Array:
    """What the mean of neighbouring samples keeps of the amplitude of lines.

    Parameters
    ----------
    turns : ndarray of float64, shape (k,)
        How far each line turns between two means, rad; > 0, below a whole turn a sample.
    few : int
        How many are averaged, >= 1.

    Returns
    -------
    ndarray of float64, shape (k,)
        Ratio of amplitudes, below 0 for a line that comes out turned by half.
    """
    kept: Array = np.sin(turns / 2) / (few * np.sin(turns / (2 * few)))
    return kept


def _least_apart(lines_hz: Array) -> float:
    places = [0.0, *sorted(lines_hz.tolist())]
    return float(min(above - below for below, above in pairwise(places)))


def turned_by(angles: Array) -> Complex:
    """exp(i angle), from its cosine and sine (quicker than of complex numbers).

    Parameters
    ----------
    angles : ndarray of float64, shape (...)
        rad.

    Returns
    -------
    ndarray of complex128, shape (...)
    """
    turned = np.empty(angles.shape, dtype=np.complex128)
    np.cos(angles, out=turned.real)
    np.sin(angles, out=turned.imag)
    return turned


class _Waves(NamedTuple):
    """1, cosines and sines over a block, its middle at 0, as products of two short tables.

    A block is a number of stretches; the last one may be filled up. near: 1, cosines and sines
    about the first sample of a stretch, shape (1 + 2 lines, samples). far: exp(i turn) of the
    stretches' first samples, shape (stretches, lines).
    """

    near: Array
    far: Complex

    @classmethod
    def over(cls, turns: Array, length: int) -> _Waves:
        """For blocks of so many samples. turns: rad a sample, by line."""
        least, most = (times * math.isqrt(length) + 1 for times in STRETCHED)
        samples = next((n for n in range(least, most) if length % n == 0), least)
        first = samples * np.arange(-(-length // samples)) - (length - 1) / 2
        turned, lines = np.multiply.outer(turns, np.arange(samples)), len(turns)
        near = np.ones((1 + 2 * lines, samples))
        np.cos(turned, out=near[1 : 1 + lines])
        np.sin(turned, out=near[1 + lines :])
        return cls(near, turned_by(np.multiply.outer(first, turns)))

    def parted(self, blocks: Array) -> Array:
        """Blocks of samples as (blocks, stretches, samples), filled up with 0."""
        short = self.near.shape[1] * len(self.far) - blocks.shape[1]
        filled = blocks
        if short:
            filled = np.zeros((len(blocks), blocks.shape[1] + short))
            filled[:, : blocks.shape[1]] = blocks
        return filled.reshape(len(blocks), len(self.far), -1)

    def products(self, given: Array) -> Array:
        """Sums of each block's samples times 1, the cosines and the sines, a row for each."""
        lines = self.far.shape[1]
        blocks, stretches, samples = given.shape
        seen = given.reshape(-1, samples) @ np.ascontiguousarray(self.near.T)
        seen = np.ascontiguousarray(seen.T).reshape(-1, blocks, stretches)
        turned = np.empty((lines, blocks, stretches), dtype=np.complex128)
        turned.real, turned.imag = seen[1 : 1 + lines], seen[1 + lines :]
        turned *= self.far.T[:, None, :]
        sums = np.add.reduce(turned, axis=2)
        steady = np.add.reduce(seen[:1], axis=2)
        return np.concatenate([steady, sums.real, sums.imag]).T

    def taken_off(self, given: Array, parts: Array) -> Array:
        """The samples without the lines, a row for each block.

        parts: of 1, the cosines and the sines, a row for each block.
        """
        blocks, stretches, samples = given.shape
        lines = self.far.shape[1]
        peaks = (parts[:, 1 : 1 + lines] - 1j * parts[:, 1 + lines :])[:, None, :] * self.far
        waves = np.empty((blocks, stretches, 1 + 2 * lines))
        waves[..., 0] = parts[:, :1]
        waves[..., 1 : 1 + lines] = peaks.real
        np.negative(peaks.imag, out=waves[..., 1 + lines :])
        fitted = waves.reshape(blocks * stretches, -1) @ self.near
        np.subtract(given.reshape(blocks * stretches, samples), fitted, out=fitted)
        return fitted.reshape(blocks, -1)


def means_of(volts: Array, few: int) -> Array:
    """Means of neighbouring samples.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    few : int
        How many are averaged, >= 1.

    Returns
    -------
    ndarray of float64, shape (n // few,)
        V; samples left over at the end are not used.
    """
    if few == 1:
        return volts.copy()
    sums, left = volts[: len(volts) // few * few], few
    # Of few neighbours adding them by twos is the quickest way to their mean, of more a product.
    while left % 2 == 0 and few < MANY:
        sums, left = sums[::2] + sums[1::2], left // 2
    if left > 1:
        sums = sums.reshape(-1, left) @ np.ones(left)
    sums *= 1 / few
    return sums


def _fitted(products: Array, turns: Array, length: int) -> Array:
    """Least-squares coefficients by block from the products with the waves.

    The products of the waves with each other are Dirichlet kernels, cosines apart from sines.
    """
    count = len(turns) + 1
    ways = np.zeros(count)
    ways[1:] = turns
    half = ways / 2
    less, more = _kernels(half, length)
    # The constant has no sine beside it: a row and a column of its own keep both of one shape.
    both = np.empty((2, count, count))
    np.add(less, more, out=both[0])
    np.subtract(less, more, out=both[1])
    both *= 0.5
    both[1, 0, 0] = 1.0
    sought = np.zeros((2, count, len(products)))
    sought[0] = products[:, :count].T
    sought[1, 1:] = products[:, count:].T
    even, odd = np.linalg.solve(both, sought)
    return np.concatenate([even, odd[1:]]).T


def _kernels(half: Array, length: int) -> Array:
    """Sums of cos(turn j) over a block centred on 0, of the differences of lines and of their sums.

    half: half of the lines' turns a sample, rad.
    """
    turn = np.stack([np.subtract.outer(half, half), np.add.outer(half, half)])
    below = np.sin(turn)
    none = np.abs(below) < 1e-12
    below[none] = 1.0
    kernels: Array = np.sin(length * turn) / below
    kernels[none] = length
    return kernels


def _left(rest: Array, rate_hz: float, part_s: float) -> Array:
    """Mean square by block and part of a block."""
    blocks = len(rest)
    parts = max(int(rest.shape[1] / (part_s * rate_hz)), 1)
    within = rest.shape[1] // parts
    cut = rest[:, : parts * within].reshape(blocks, parts, within)
    sums: Array = np.einsum("ijk,ijk->ij", cut, cut)
    sums /= within
    return sums
