"""How far the noise of an idle record is known, where it comes in events rather than evenly.

Steady noise scatters from block to block as its bandwidth has it. Popcorn noise, crackle and
bursts scatter more: then what the blocks show is the uncertainty.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backbench.signal.block_scatter import OVERLAPPED, scatter
from backbench.signal.power import MeanSquare
from backbench.signal.quantiles import middle
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution

BY_CHANCE = 1e-3
"""Probability that steady noise passes for noise in events: common practice, no source."""
LEAST_BLOCKS = 8
Blocks = tuple[NDArray[np.float32], float]
"""Power by block and bin, and the width of a bin, Hz."""


def rms_known_to(blocks: Blocks, square: MeanSquare, spread: float, band: Array) -> Contribution:
    """Relative standard uncertainty of an rms of noise, and its degrees of freedom.

    square: as found, with the variance of steady noise. spread: of the window. band: power factors
    by bin of the blocks.
    """
    power, _ = blocks
    return known_to(square.relative, square.samples, spread, power @ band)


def density_known_to(
    blocks: Blocks, relative: float, dof: float, *, spread: float, band_hz: tuple[float, float]
) -> Contribution:
    """The same of a density that is a median of bins, from the median of each block."""
    power, width_hz = blocks
    first, last = (round(hz / width_hz) for hz in band_hz)
    return known_to(relative, dof, spread, middle(power[:, first : last + 1].T))


def known_to(relative: float, dof: float, spread: float, squares: Array) -> Contribution:
    """What steady noise gives, or what the blocks' mean squares show where it is surely more."""
    from scipy.special import fdtri

    own = Contribution(relative, dof)
    if len(squares) < LEAST_BLOCKS or not 0 < relative < np.inf:
        return own
    seen = scatter(np.asarray(squares, dtype=np.float64), spread, OVERLAPPED).relative / 2
    blocks = len(squares) - 1
    if (seen / relative) ** 2 <= fdtri(blocks, min(dof, 1e6), 1 - BY_CHANCE):
        return own
    return Contribution(seen, blocks)
