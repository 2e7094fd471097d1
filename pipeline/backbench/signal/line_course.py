"""How the lines of a record hold from block to block in time, and what is left beside them.

Every block is fitted with the same sinusoids by least squares (IEEE 1057, sine fit of known
frequency, block by block). Unlike a windowed spectrum, which hardly sees a record's ends, all
samples count alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from backbench.signal.block_waves import TURN, BlockWaves, turned_by
from backbench.signal.kept_property import kept_property
from backbench.signal.quantiles import middle, quantile_of_rising
from backbench.signal.side_by_side import MOST_SAMPLES
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
    sizes = _sizes(len(volts), rate_hz, lines_hz, apart_hz)
    return _courses([volts], rate_hz, lines_hz[None, :], sizes)[0]


def line_courses(each: Sequence[tuple[Array, Array]], rate_hz: float) -> list[LineCourse]:
    """As line_course, of several records: those alike in length and lines in one go, unless they
    are long, to spare memory.

    Parameters
    ----------
    each : sequence of (ndarray of float64, ndarray of float64)
        Samples, V, and frequencies of the lines in them, Hz.
    rate_hz : float
        Of all records, Hz.

    Returns
    -------
    list of LineCourse

    Raises
    ------
    ValueError
        As line_course, for any of them.
    """
    alike: dict[tuple[int, int, _Sizes], list[int]] = {}
    short = sum(len(volts) for volts, _ in each) <= MOST_SAMPLES
    for n, (volts, hz) in enumerate(each):
        sizes = _sizes(len(volts), rate_hz, hz, None)
        alike.setdefault((0 if short else n, len(hz), sizes), []).append(n)
    found: dict[int, LineCourse] = {}
    for (*_, sizes), some in alike.items():
        volts_of_each, lines_hz = zip(*(each[n] for n in some), strict=True)
        courses = _courses(volts_of_each, rate_hz, np.stack(lines_hz), sizes)
        found.update(zip(some, courses, strict=True))
    return [found[n] for n in range(len(each))]


class _Sizes(NamedTuple):
    """How a record is parted: into blocks of so many means of `few` neighbours each."""

    blocks: int
    means: int
    few: int


def _sizes(samples: int, rate_hz: float, lines_hz: Array, apart_hz: float | None) -> _Sizes:
    """Raises ValueError where there aren't two blocks of 2.5 periods of apart_hz."""
    apart = _least_apart(lines_hz) if apart_hz is None else apart_hz
    few = _averaged(rate_hz, float(np.max(lines_hz)))
    length = max(samples // BLOCKS, int(LEAST_PERIODS * rate_hz / apart) + 1)
    count = max(length // few, 1)
    blocks = samples // (count * few)
    if blocks < 2:
        raise ValueError("too short for two blocks")
    return _Sizes(blocks, count, few)


def _courses(
    each: Sequence[Array], rate_hz: float, lines_hz: Array, sizes: _Sizes
) -> list[LineCourse]:
    """The courses of lines in records that are parted alike. lines_hz: a row for each record."""
    blocks, count, few = sizes
    length, lines = count * few, lines_hz.shape[1]
    turns = few * TURN * lines_hz / rate_hz
    waves = BlockWaves.over(turns, count)
    given = waves.parted(_means(each, sizes))
    parts = waves.fitted(given, count)
    rest = waves.taken_off(given, parts)[..., :count]
    phasors = parts[..., 1 : lines + 1] - 1j * parts[..., lines + 1 :]
    middle = ((np.arange(blocks) + 0.5) * length - 0.5) / rate_hz
    phasors *= turned_by(-TURN * (middle[:, None] * lines_hz[:, None, :]))
    phasors /= kept_of(turns, few)[:, None, :]
    periods = lines_hz * length / rate_hz
    longest = [max(PART_S, 1 / hz) for hz in lines_hz.min(axis=1).tolist()]
    return [
        LineCourse(
            phasors[n], parts[n, :, 0], _left(rest[n], rate_hz / few, part_s), length, rate_hz,
            periods[n],
        )
        for n, part_s in enumerate(longest)
    ]  # fmt: skip


def _means(each: Sequence[Array], sizes: _Sizes) -> Array:
    """Means of neighbours by block, shape (records, blocks, means); the samples where few is 1."""
    blocks, count, few = sizes
    if few == 1 and len(each) == 1:
        return each[0][: blocks * count].reshape(1, blocks, count)
    means = np.empty((len(each), blocks * count))
    for volts, row in zip(each, means, strict=True):
        means_of(volts[: blocks * count * few], few, row)
    return means.reshape(len(each), blocks, count)


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


def means_of(volts: Array, few: int, means: Array | None = None) -> Array:
    """Means of neighbouring samples.

    Parameters
    ----------
    volts : ndarray of float64, shape (n,)
        V.
    few : int
        How many are averaged, >= 1.
    means : ndarray of float64, shape (n // few,), optional
        Where they are to be put; a new place where not given.

    Returns
    -------
    ndarray of float64, shape (n // few,)
        V; samples left over at the end are not used.
    """
    sums, left = volts[: len(volts) // few * few], few
    # Of few neighbours adding them by twos is the quickest way to their mean, of more a product.
    if left % 4 == 0 and few < MANY and sums.flags.c_contiguous:
        twos = sums.view(np.complex128)
        sums, left = (twos[::2] + twos[1::2]).view(np.float64), left // 2
    while left % 2 == 0 and few < MANY:
        sums, left = sums[::2] + sums[1::2], left // 2
    if left > 1:
        sums = sums.reshape(-1, left) @ np.ones(left)
    return np.multiply(sums, 1 / few, out=means)


def _left(rest: Array, rate_hz: float, part_s: float) -> Array:
    """Mean square by block and part of a block."""
    blocks = len(rest)
    parts = max(int(rest.shape[1] / (part_s * rate_hz)), 1)
    within = rest.shape[1] // parts
    cut = rest[:, : parts * within].reshape(blocks, parts, within)
    sums: Array = np.einsum("ijk,ijk->ij", cut, cut)
    sums /= within
    return sums
