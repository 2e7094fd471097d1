"""Sinusoids over blocks of samples, of several records at once: fitted to them, and taken off."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from backbench.signal.track import Array
from backbench.signal.window import Complex

TURN = 2 * math.pi
STRETCHED = 2, 6
"""Times the root of a block's length that a stretch has at least, and may have so that it divides
the block: products of longer tables are quicker than many of short ones."""


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


class BlockWaves(NamedTuple):
    """1, cosines and sines over a block, its middle at 0, as products of two short tables.

    A block is a number of stretches; the last one may be filled up.

    Parameters
    ----------
    turns : ndarray of float64, shape (records, lines)
        rad a sample.
    near : ndarray of float64, shape (records, 1 + 2 lines, samples)
        1, cosines and sines about the first sample of a stretch.
    far : ndarray of complex128, shape (records, stretches, lines)
        exp(i turn) of the stretches' first samples.
    """

    turns: Array
    near: Array
    far: Complex

    @classmethod
    def over(cls, turns: Array, length: int) -> BlockWaves:
        """For blocks of one length.

        Parameters
        ----------
        turns : ndarray of float64, shape (records, lines)
            rad a sample, > 0.
        length : int
            Samples of a block.

        Returns
        -------
        BlockWaves
        """
        least, most = (times * math.isqrt(length) + 1 for times in STRETCHED)
        samples = next((n for n in range(least, most) if length % n == 0), least)
        first = samples * np.arange(-(-length // samples)) - (length - 1) / 2
        turned, (records, lines) = turns[..., None] * np.arange(samples), turns.shape
        near = np.ones((records, 1 + 2 * lines, samples))
        np.cos(turned, out=near[:, 1 : 1 + lines])
        np.sin(turned, out=near[:, 1 + lines :])
        return cls(turns, near, turned_by(first[:, None] * turns[:, None, :]))

    def parted(self, blocks: Array) -> Array:
        """Blocks in stretches.

        Parameters
        ----------
        blocks : ndarray of float64, shape (records, blocks, length)
            Samples.

        Returns
        -------
        ndarray of float64, shape (records, blocks, stretches, samples)
            Filled up with 0.
        """
        records, count, length = blocks.shape
        whole = self.near.shape[2] * self.far.shape[1]
        filled = blocks
        if whole > length:
            filled = np.zeros((records, count, whole))
            filled[..., :length] = blocks
        return filled.reshape(records, count, self.far.shape[1], -1)

    def fitted(self, given: Array, length: int) -> Array:
        """Least-squares coefficients by block.

        Parameters
        ----------
        given : ndarray of float64, shape (records, blocks, stretches, samples)
            Samples, see parted.
        length : int
            Samples of a block.

        Returns
        -------
        ndarray of float64, shape (records, blocks, 1 + 2 lines)
            Of 1, the cosines and the sines, in the unit of the samples.

        Notes
        -----
        The products of the waves with each other are Dirichlet kernels, cosines apart from sines.
        """
        products, (records, lines) = self._products(given), self.turns.shape
        count = lines + 1
        ways = np.zeros((records, count))
        ways[:, 1:] = self.turns
        less, more = _kernels(ways / 2, length)
        # The constant has no sine beside it: a row and a column of its own keep both of one shape.
        both = np.empty((2, records, count, count))
        np.add(less, more, out=both[0])
        np.subtract(less, more, out=both[1])
        both *= 0.5
        both[1, :, 0, 0] = 1.0
        sought = np.zeros((2, records, count, given.shape[1]))
        sought[0] = products[:, :count]
        sought[1, :, 1:] = products[:, count:]
        even, odd = np.linalg.solve(both, sought)
        return np.concatenate([even, odd[:, 1:]], axis=1).transpose(0, 2, 1)

    def _products(self, given: Array) -> Array:
        """Sums of each block's samples times 1, the cosines and the sines: a row for each wave."""
        (records, blocks, stretches, samples), lines = given.shape, self.far.shape[2]
        table = np.ascontiguousarray(self.near.transpose(0, 2, 1))
        seen = given.reshape(records, -1, samples) @ table
        seen = np.ascontiguousarray(seen.transpose(0, 2, 1))
        seen = seen.reshape(records, -1, blocks, stretches)
        turned = np.empty((records, lines, blocks, stretches), dtype=np.complex128)
        turned.real, turned.imag = seen[:, 1 : 1 + lines], seen[:, 1 + lines :]
        turned *= self.far.transpose(0, 2, 1)[:, :, None, :]
        sums = np.add.reduce(turned, axis=3)
        steady = np.add.reduce(seen[:, :1], axis=3)
        return np.concatenate([steady, sums.real, sums.imag], axis=1)

    def taken_off(self, given: Array, parts: Array) -> Array:
        """The samples without the lines.

        Parameters
        ----------
        given : ndarray of float64, shape (records, blocks, stretches, samples)
            Samples, see parted.
        parts : ndarray of float64, shape (records, blocks, 1 + 2 lines)
            See fitted.

        Returns
        -------
        ndarray of float64, shape (records, blocks, stretches * samples)
        """
        (records, blocks, stretches, _), lines = given.shape, self.far.shape[2]
        own = parts[..., 1 : 1 + lines] - 1j * parts[..., 1 + lines :]
        peaks = own[:, :, None, :] * self.far[:, None]
        waves = np.empty((records, blocks, stretches, 1 + 2 * lines))
        waves[..., 0] = parts[..., :1]
        waves[..., 1 : 1 + lines] = peaks.real
        np.negative(peaks.imag, out=waves[..., 1 + lines :])
        fitted = waves.reshape(records, blocks * stretches, -1) @ self.near
        np.subtract(given.reshape(fitted.shape), fitted, out=fitted)
        return fitted.reshape(records, blocks, -1)


def _kernels(half: Array, length: int) -> Array:
    """Sums of cos(turn j) over a block centred on 0, of the differences of lines and of their sums.

    half: half of the lines' turns a sample, rad, a row for each record.
    """
    one, other = half[:, :, None], half[:, None, :]
    turn = np.stack([one - other, one + other])
    below = np.sin(turn)
    none = np.abs(below) < 1e-12
    below[none] = 1.0
    kernels: Array = np.sin(length * turn) / below
    kernels[none] = length
    return kernels
