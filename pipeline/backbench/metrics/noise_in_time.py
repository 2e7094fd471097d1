"""How far the noise of an idle record is known, where it comes in events rather than evenly.

Steady noise scatters from block to block as its bandwidth has it. Popcorn noise, crackle and
bursts scatter more: then what the blocks show is the uncertainty.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.errors import Refusal
from backbench.quantities.writing import in_text
from backbench.signal.block_scatter import OVERLAPPED, scatter
from backbench.signal.power import MeanSquare
from backbench.signal.quantiles import middle
from backbench.signal.track import Array
from backbench.signal.uncertainty import Contribution, combine

BY_CHANCE = 1e-3
"""Probability that steady noise passes for noise in events: common practice, no source."""
LEAST_BLOCKS = 8
LINE = 50.0
"""Times the noise above which a bin is a line's: hardly ever by chance."""
GATED_HZ = (1000.0, 10_000.0)
GATED_DB = 9.0
"""Between all blocks before and all after: common practice, no source."""
STRADDLE = 2
"""Blocks, which overlap by half, that hold the instant itself."""
REACH = 1
"""Bins of a block beside those that a line's power tells."""
Blocks = tuple[NDArray[np.float32], float]
"""Power by block and bin, and the width of a bin, Hz."""


class Band(NamedTuple):
    """Bins of a spectrum: power and noise by bin, V^2, power factors, and their frequencies, Hz."""

    power: Array
    noise: Array
    weights: Array
    hz: Array


def rms_known_to(blocks: Blocks, square: MeanSquare, spread: float, band: Band) -> Contribution:
    """Relative standard uncertainty of the rms of a band, and its degrees of freedom.

    square: weighted, with the variance that steady noise has. spread: of the window. Lines are left
    out of the blocks, which let a part of a line through that goes with its phase.
    """
    power, width_hz = blocks
    own = Contribution(square.relative, square.samples)
    place = np.minimum(np.rint(band.hz / width_hz).astype(int), power.shape[1] - 1)
    clear = _clear(place, band.power / band.noise, power.shape[1])
    noise = band.noise * band.weights
    inside = noise[clear[place]]
    if not inside.sum() > 0:
        return own
    by_block = np.zeros(power.shape[1], dtype=np.float32)
    by_block[place] = band.weights * clear[place]
    steady = Contribution(
        math.sqrt(spread * float(inside @ inside)) / (2 * float(inside.sum())),
        2 * float(inside.sum()) ** 2 / (spread * float(inside @ inside)),
    )
    known = known_to(steady.u, steady.dof, spread, (power @ by_block).astype(np.float64))
    if known == steady:
        return own
    more = math.sqrt(known.u**2 - steady.u**2) * float(noise.sum()) / square.value
    return combine([own, Contribution(more, known.dof)])


def _clear(place: NDArray[np.int_], over: Array, count: int) -> NDArray[np.bool_]:
    """Bins of the blocks that no line reaches; over: power re the noise by bin, and its place.

    The lobes of a Hann window fall with the third power of the distance (closed form).
    """
    strongest = np.zeros(count)
    np.maximum.at(strongest, place, over)
    clear = np.ones(count, dtype=bool)
    for line in np.flatnonzero(strongest > LINE).tolist():
        reach = REACH + math.ceil((10 * strongest[line]) ** (1 / 6))
        clear[max(line - reach, 0) : line + reach + 1] = False
    return clear


def density_known_to(
    blocks: Blocks, relative: float, dof: float, *, spread: float, band_hz: tuple[float, float]
) -> Contribution:
    """The same of a density that is a median of bins, from the median of each block."""
    power, width_hz = blocks
    first, last = (round(hz / width_hz) for hz in band_hz)
    return known_to(relative, dof, spread, middle(power[:, first : last + 1].T.astype(np.float64)))


def known_to(relative: float, dof: float, spread: float, squares: Array) -> Contribution:
    """What steady noise gives, or what the blocks' mean squares show where it is surely more."""
    from scipy.special import fdtri

    own = Contribution(relative, dof)
    if len(squares) < LEAST_BLOCKS or not 0 < relative < np.inf:
        return own
    seen = scatter(squares, spread, OVERLAPPED).relative / 2
    blocks = len(squares) - 1
    if (seen / relative) ** 2 <= fdtri(blocks, min(dof, 1e6), 1 - BY_CHANCE):
        return own
    return Contribution(seen, blocks)


def refuse_gate(power: NDArray[np.float32], width_hz: float) -> None:
    """Refuse a record whose noise is one thing before an instant and far less, or more, after it.

    power: by block and bin. width_hz: of a bin. Bursts come back to what was before; a gate closes,
    as an output that is muted does.
    """
    first, last = (round(hz / width_hz) for hz in GATED_HZ)
    levels = 10 * np.log10(np.maximum(middle(power[:, first:last].T.astype(np.float64)), 1e-300))
    for k in range(1, len(levels) - STRADDLE):
        before, after = levels[:k], levels[k + STRADDLE :]
        falls = max(float(before.min() - after.max()), float(after.min() - before.max()))
        if falls > GATED_DB:
            raise Refusal(
                f"the noise changes by {in_text(falls, 'dB', 2)} within the record and stays so: "
                "a noise gate of the recorder, an output that was muted, or a unit that was "
                "switched; record again without it"
            )
