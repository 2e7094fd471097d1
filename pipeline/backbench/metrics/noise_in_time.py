"""How far the noise of an idle record is known, where it comes in events rather than evenly.

Steady noise scatters from block to block as its bandwidth has it. Popcorn noise, crackle and
bursts scatter more: then what the blocks show is the uncertainty.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.block_scatter import OVERLAPPED, scatter
from backbench.signal.quantiles import middle
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution

BY_CHANCE = 1e-3
"""Probability that steady noise passes for noise in events: common practice, no source."""
LEAST_BLOCKS = 8
MOST_DOF = 1e6
"""From here on more of them tell no more."""
LINE = 50.0
"""Times the noise above which a bin is a line's: hardly ever by chance."""
HISS_HZ = (1000.0, 10_000.0)
"""Where hiss is read, away from most hum."""
GATED_DB = 9.0
"""Between all blocks before and all after: common practice, no source."""
STRADDLE = 2
"""Blocks, which overlap by half, that hold the instant itself."""
REACH = 1
"""Bins of a block beside those that a line's power tells."""
Blocks = tuple[NDArray[np.float32], float]
"""Power by block and bin, and the width of a bin, Hz."""


class Clear(NamedTuple):
    """Where the bins of a band lie among those of blocks of time.

    free: 1 for bins that no line reaches, 0 for others. last, place: of each bin of the blocks,
    the last of the band's that lie there, and where that is.
    """

    free: Array
    last: NDArray[np.int_]
    place: NDArray[np.int_]


def clear_of_lines(blocks: Blocks, over: Array, first: int, width_hz: float) -> Clear:
    """Where noise alone is in a band, however it is weighted.

    over: power re the noise by bin. first: of the bins, each width_hz wide.
    """
    power, block_hz = blocks
    count = power.shape[1]
    place, last = among_blocks(first, len(over), width_hz, block_hz, count)
    lines = np.flatnonzero(over > LINE)
    free = _clear(place[lines], over[lines], count)
    return Clear(free[place].astype(np.float64), last, place[last])


@lru_cache(maxsize=4)
def among_blocks(
    first: int, bins: int, width_hz: float, block_hz: float, count: int
) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Of each bin of a band the one of the blocks, of which there are `count`, and the last of the
    band's in each of those; kept, as records of one length have the same."""
    hz = np.arange(first, first + bins) * width_hz
    place = np.minimum(np.rint(hz / block_hz).astype(int), count - 1)
    return place, np.flatnonzero(np.diff(place, append=-1))


def _clear(place: NDArray[np.int_], over: Array, count: int) -> NDArray[np.bool_]:
    """Bins of the blocks that no line reaches; over: of the lines, power re the noise.

    The lobes of a Hann window fall with the third power of the distance (closed form).
    """
    clear = np.ones(count, dtype=bool)
    reach = REACH + np.minimum(np.ceil((10 * over) ** (1 / 6)), count).astype(int)
    first, stop = np.maximum(place - reach, 0), place + reach + 1
    for low, high in {*zip(first.tolist(), stop.tolist(), strict=True)}:
        clear[low:high] = False
    return clear


def middles_of(blocks: Blocks, band_hz: tuple[float, float]) -> Array:
    """Median by block of the bins of a band, the last of which lies at its upper end."""
    power, width_hz = blocks
    first, last = (round(hz / width_hz) for hz in band_hz)
    # Single precision keeps the order of values, and the mean of two is taken in double.
    return middle(power[:, first : last + 1].T, np.float64)


def known_to(relative: float, dof: float, spread: float, squares: Array) -> Contribution:
    """What steady noise gives, or what the blocks' mean squares show where it is surely more."""
    own = Contribution(relative, dof)
    if len(squares) < LEAST_BLOCKS or not 0 < relative < math.inf:
        return own
    seen = scatter(squares, spread, OVERLAPPED).relative / 2
    blocks, times = len(squares) - 1, (seen / relative) ** 2
    # The fewer degrees of freedom, the more happens by chance.
    if times <= _by_chance(blocks) or times <= _by_chance(blocks, min(dof, MOST_DOF)):
        return own
    return Contribution(seen, blocks)


@lru_cache(maxsize=32)
def _by_chance(blocks: int, dof: float = MOST_DOF) -> float:
    """Ratio of variances that steady noise seldom exceeds."""
    from scipy.special import fdtri

    return float(fdtri(blocks, dof, 1 - BY_CHANCE))


def refuse_gate(squares: Array) -> None:
    """Refuse a record whose noise is one thing before an instant and far less, or more, after it.

    squares: by block. Bursts come back to what was before; a gate closes, as an output that is
    muted does.
    """
    levels = 10 * np.log10(np.maximum(squares, 1e-300))
    if len(levels) <= STRADDLE + 1:
        return
    lowest, highest = np.minimum.accumulate, np.maximum.accumulate
    before, after = levels[: -STRADDLE - 1], levels[:STRADDLE:-1]
    down = lowest(before) - highest(after)[::-1]
    up = lowest(after)[::-1] - highest(before)
    for falls in np.maximum(down, up).tolist():
        if falls > GATED_DB:
            raise Refusal(
                f"the noise changes by {in_text(falls, 'dB', 2)} within the record and stays so: "
                "a noise gate of the recorder, an output that was muted, or a unit that was "
                "switched; record again without it"
            )
