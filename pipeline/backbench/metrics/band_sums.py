"""What a record with nothing playing sums to between 20 Hz and 20 kHz, under each weighting.

All weightings are summed in one go over the bins of the band, which costs little more than one.
"""

from __future__ import annotations

import math
from enum import IntEnum
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from backbench.metrics.noise_in_time import Blocks, Clear, among_blocks, known_to
from backbench.metrics.sample_steps import BandFactors
from backbench.signal.itu_468 import weighting_468_power
from backbench.signal.power import MeanSquare, mean_square_of, products
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution, combine
from backbench.signal.weighting import a_weighting_power


class Weighting(IntEnum):
    """The weightings, and the row of each."""

    NONE = 0
    A = 1
    BS_468 = 2


class Factors(NamedTuple):
    """Power factors by bin, a row for each weighting, and their squares; of each weighting the sum
    of its factors, the greatest of them, and the factor at each bin of the blocks of time."""

    rows: Array
    squares: Array
    sums: list[float]
    greatest: list[float]
    in_blocks: Array

    def of(self, weighting: Weighting) -> BandFactors:
        """Of one weighting."""
        return BandFactors(self.rows[weighting], self.sums[weighting], self.greatest[weighting])


@lru_cache(maxsize=4)
def factors(
    first: int, count: int, width_hz: float, second_moment: float, block_hz: float, in_block: int
) -> Factors:
    """Of so many bins from the first on, each width_hz wide; second_moment: of the window's lobe.

    Blocks have in_block bins, each block_hz wide. Kept, as records of one length have the same.
    """
    bins = (first, count, width_hz, second_moment)
    rows = np.stack([np.ones(count), a_weighting_power(*bins), weighting_468_power(*bins)])
    _, last = among_blocks(first, count, width_hz, block_hz, in_block)
    squares, in_blocks = rows**2, rows[:, last]
    for each in (rows, squares, in_blocks):
        each.setflags(write=False)
    sums, greatest = rows.sum(axis=1).tolist(), rows.max(axis=1).tolist()
    return Factors(rows, squares, sums, greatest, in_blocks)


class BandSum(NamedTuple):
    """A band under one weighting.

    square: mean square with the variance that steady noise has. noise: mean square of the noise,
    V^2. clear: of that where no line reaches, V^2, clear_squares: the sum of its squares, V^4.
    by_block: power in each block of time without lines; ratios alone mean much.
    """

    square: MeanSquare
    noise: float
    clear: float
    clear_squares: float
    by_block: Array


def band_sums(
    power: Array, noise: Array, weights: Factors, clear: Clear, blocks: Blocks, spread: float
) -> list[BandSum]:
    """By weighting. power, noise: by bin of the band, V^2. spread: of the window."""
    found = np.stack([power, noise, noise])
    found[2] *= clear.free
    squares = found * noise
    rows = products(weights.rows, found).tolist()
    of_squares = products(weights.squares, squares).tolist()
    by_block = _by_block(weights, clear, blocks)
    return [
        BandSum(mean_square_of(value, both, least, spread), own, apart, apart_squares, each)
        for (value, own, apart), (both, least, apart_squares), each in zip(
            rows, of_squares, by_block, strict=True
        )
    ]


def _by_block(weights: Factors, clear: Clear, blocks: Blocks) -> Array:
    """Power of each block without lines, a row for each weighting."""
    power, _ = blocks
    each = np.zeros((len(weights.rows), power.shape[1]), dtype=np.float32)
    each[:, clear.place] = clear.free[clear.last] * weights.in_blocks
    summed: Array = (each @ power.T).astype(np.float64)
    return summed


def rms_known_to(summed: BandSum, spread: float) -> Contribution:
    """Relative standard uncertainty of the rms of a band, and its degrees of freedom.

    spread: of the window. Lines are left out of the blocks, which let a part of a line through that
    goes with its phase.
    """
    square, total = summed.square, summed.clear
    own = Contribution(square.relative, square.samples)
    if not total > 0:
        return own
    squares = spread * summed.clear_squares
    steady = Contribution(math.sqrt(squares) / (2 * total), 2 * total**2 / squares)
    known = known_to(steady.u, steady.dof, spread, summed.by_block)
    if known == steady:
        return own
    more = math.sqrt(known.u**2 - steady.u**2) * summed.noise / square.value
    return combine([own, Contribution(more, known.dof)])
