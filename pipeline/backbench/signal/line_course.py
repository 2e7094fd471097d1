"""How the lines of a record hold from block to block in time, and what is left beside them.

Every block is fitted with the same sinusoids by least squares (IEEE 1057, sine fit of known
frequency, block by block). Unlike a windowed spectrum, which hardly sees a record's ends, all
samples count alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from backbench.signal.quantiles import middle, quantile
from backbench.signal.track import Array
from backbench.signal.window import Complex

BLOCKS = 32
LEAST_PERIODS = 2.5
"""Periods of the slowest beat that a block holds, so that its lines can be told apart."""
PART_S = 1e-3
COARSE_RATE_HZ = 40_000.0
"""What is left is averaged over neighbouring samples down to about this rate."""
SPARSE = 97
"""Samples from one to the next of those that tell the size of a record."""


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
    """

    phasors: Complex
    offset: Array
    left: Array
    length: int
    rate_hz: float
    turns: Array

    @cached_property
    def left_by_block(self) -> Array:
        """Mean square of what is left by block, V^2."""
        mean_square: Array = self.left.mean(axis=1)
        return mean_square

    @cached_property
    def level(self) -> Array:
        """Peak amplitude by block and line, V."""
        return np.abs(self.phasors)

    @cached_property
    def usual_level(self) -> Array:
        """Median over the blocks of each line's level, V."""
        return middle(self.level)

    @cached_property
    def usual_left(self) -> float:
        """Median over the blocks of what is left, V^2."""
        return float(middle(self.left_by_block))

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
        return quantile(self.left, share)

    @property
    def block_s(self) -> float:
        """Length of a block, s."""
        return self.length / self.rate_hz


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
    Samples after the last whole block aren't looked at. Double precision: the digits are the same
    on every kernel of the linear algebra.

    References
    ----------
    IEEE 1057 (sine fit of known frequency).
    """
    apart = _least_apart(lines_hz) if apart_hz is None else apart_hz
    few = max(int(rate_hz / COARSE_RATE_HZ), 1)
    length = max(len(volts) // BLOCKS, int(LEAST_PERIODS * rate_hz / apart) + 1)
    length = few * max(length // few, 1)
    blocks = len(volts) // length
    if blocks < 2:
        raise ValueError("too short for two blocks")
    # Divided by its size, so that rounding is the same whatever the unit.
    size = float(np.sqrt(np.mean(np.square(volts[::SPARSE])))) or 1.0
    given = (volts[: blocks * length] / size).reshape(blocks, length)
    waves = _waves(2 * np.pi * lines_hz / rate_hz, length)
    parts = _fitted(given @ waves.T, 2 * np.pi * lines_hz / rate_hz, length)
    given -= parts @ waves
    parts *= size
    count = len(lines_hz)
    phasors = parts[:, 1 : count + 1] - 1j * parts[:, count + 1 :]
    middle = ((np.arange(blocks) + 0.5) * length - 0.5) / rate_hz
    phasors = phasors * np.exp(-2j * np.pi * np.outer(middle, lines_hz))
    left = _left(given, few, rate_hz, max(PART_S, 1 / float(np.min(lines_hz)))) * size**2
    return LineCourse(phasors, parts[:, 0], left, length, rate_hz, lines_hz * length / rate_hz)


def _least_apart(lines_hz: Array) -> float:
    return float(np.min(np.diff(np.concatenate([[0.0], np.sort(lines_hz)]))))


def _waves(turns: Array, length: int) -> Array:
    """1, the cosines and the sines of a block, its middle at 0, shape (1 + 2 lines, length).

    Powers of the first where all are its multiples, which costs less than so many sines.
    """
    waves = np.empty((1 + 2 * len(turns), length))
    waves[0] = 1
    power = first = _turning(float(turns[0]), length)
    orders = np.rint(turns / turns[0]).astype(int)
    multiples = bool(np.all(np.abs(turns - orders * turns[0]) * length < 1e-6))
    at = 1
    for k, turn in enumerate(turns.tolist()):
        if multiples:
            while at < orders[k]:
                power, at = power * first, at + 1
        else:
            power = _turning(turn, length)
        waves[1 + k] = power.real
        waves[1 + len(turns) + k] = power.imag
    return waves


def _turning(turn: float, length: int) -> Complex:
    """exp(i turn j) for j about 0, from two short tables."""
    short = int(np.sqrt(length)) + 1
    coarse = np.exp(1j * turn * (short * np.arange(length // short + 1) - (length - 1) / 2))
    turned: Complex = np.multiply.outer(coarse, np.exp(1j * turn * np.arange(short))).ravel()
    return turned[:length]


def _fitted(products: Array, turns: Array, length: int) -> Array:
    """Least-squares coefficients by block from the products with the waves.

    The products of the waves with each other are Dirichlet kernels, cosines apart from sines.
    """
    ways = np.concatenate([[0.0], turns])
    less, more = np.subtract.outer(ways, ways), np.add.outer(ways, ways)
    even = (_kernel(less, length) + _kernel(more, length)) / 2
    odd = ((_kernel(less, length) - _kernel(more, length)) / 2)[1:, 1:]
    count = len(ways)
    return np.concatenate(
        [
            np.linalg.solve(even, products[:, :count].T).T,
            np.linalg.solve(odd, products[:, count:].T).T,
        ],
        axis=1,
    )


def _kernel(turn: Array, length: int) -> Array:
    """Sum of cos(turn j) over a block centred on 0."""
    half = np.sin(turn / 2)
    none = np.abs(half) < 1e-12
    kernel: Array = np.where(none, length, np.sin(length * turn / 2) / np.where(none, 1.0, half))
    return kernel


def _left(rest: Array, few: int, rate_hz: float, part_s: float) -> Array:
    """Mean square by block and part of a block, of the means of `few` samples each."""
    blocks = len(rest)
    if few > 1:
        rest = (rest.reshape(-1, few) @ np.full(few, 1 / few)).reshape(blocks, -1)
    parts = max(int(rest.shape[1] * few / (part_s * rate_hz)), 1)
    within = rest.shape[1] // parts
    cut = np.ascontiguousarray(rest[:, : parts * within]).reshape(-1, within)
    sums: Array = np.einsum("ij,ij->i", cut, cut)
    return np.asarray(sums.reshape(blocks, parts) / within)
