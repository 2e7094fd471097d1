"""The step that a record's samples use, whatever word length its file states.

Samples of a short word keep their steps where they are stored in longer words, or as floating
point, with or without a change of gain on the way.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from backbench.signal.kept_property import kept_with_it
from backbench.signal.track import Array, Track

GRID = 2.0**31
"""Parts of full scale that every word length in use is a whole number of."""
OFF_GRID = 1e-4
"""How far rounding leaves a sample of such a word from a whole number of parts."""
BLOCKS, BLOCK = 8, 512
"""Samples that are looked at, spread over the record: a silent beginning tells no step. Where all
of them are alike, the whole record is."""
ROUNDING = 1.5e-7
"""Of the greatest sample: what single precision, and a change of gain in it, may round away."""
LEVEL = 3.0
"""Times what rounding leaves, within which neighbouring samples are of one level."""
TOP = 0.01
"""Share of a record's span, at its upper end, whose samples are looked at first."""
MIDDLE = 1 / 16
"""Share of the span to either side of its middle whose samples are looked at next."""
CLEAR = 8.0
"""A step so many times what rounding leaves is told apart from it."""
SAME = 0.02
"""How much of a step the steps of a lattice may differ by, at the least."""
LEAST_LEVELS = 12
"""A lattice is read from so many levels at the least: fewer fit one by chance."""


@kept_with_it
def sample_step(track: Track) -> float:
    """The step that the samples use.

    Parameters
    ----------
    track : Track
        The record.

    Returns
    -------
    float
        V; that of the stated word length where the samples show no coarser one; 0 where none is
        stated and none shows.

    Notes
    -----
    The greatest common divisor of the samples' differences, in parts of full scale. Where that is
    the container's own, a lattice: levels that lie whole numbers of one step apart, but for
    rounding.
    """
    stated = 0.0 if track.bits is None else 2 * track.full_scale_v / 2.0**track.bits
    some = _some(track.volts)
    low, high = float(some.min()), float(some.max())
    if low == high:
        some = track.volts
        low, high = track.lowest_and_highest
    if not (math.isfinite(low) and math.isfinite(high)):
        return stated
    shares = some / track.full_scale_v
    own = stated / track.full_scale_v
    parts = _divisor(shares, 1.5 * own * GRID)
    if parts > 1.5 * own * GRID:
        return parts / GRID * track.full_scale_v
    rounded = max(own, ROUNDING * max(high, -low) / track.full_scale_v)
    return max(_lattice(shares, rounded) * track.full_scale_v, stated)


def word_bits(track: Track) -> float:
    """The word length that the samples use.

    Parameters
    ----------
    track : Track
        The record.

    Returns
    -------
    float
        Bits, as many as give full scale in such steps; inf where no step shows.
    """
    step = sample_step(track)
    return math.log2(2 * track.full_scale_v / step) if step > 0 else math.inf


def few_levels(track: Track) -> bool:
    """Whether the record spans so few steps that these may be its waveform, not its word length.

    Parameters
    ----------
    track : Track
        The record.

    Returns
    -------
    bool
    """
    low, high = track.lowest_and_highest
    return high - low < LEAST_LEVELS * sample_step(track)


def _some(volts: Array) -> Array:
    """Blocks of samples spread over the record, or all of a short one."""
    if len(volts) <= BLOCKS * BLOCK:
        return volts
    last = len(volts) - BLOCK
    starts = [last * n // (BLOCKS - 1) for n in range(BLOCKS)]
    return np.concatenate([volts[start : start + BLOCK] for start in starts])


def _divisor(shares: Array, least: float) -> float:
    """Greatest common divisor of the differences, parts; 0 where they are on no grid.

    least: parts up to which it needn't be told exactly.
    """
    scaled = shares * GRID
    whole = np.rint(scaled)
    scaled -= whole
    if max(scaled.max(), -scaled.min()) > OFF_GRID:
        return 0.0
    parts: NDArray[np.int64] = whole.astype(np.int64)
    # A few samples tell that a record has no coarser step; only one that has needs them all.
    first = int(np.gcd.reduce(parts[1:65] - parts[:64])) if len(parts) > 64 else 0
    return float(first if 0 < first <= max(least, 1) else np.gcd.reduce(parts[1:] - parts[:-1]))


def _lattice(shares: Array, rounded: float) -> float:
    """The step of levels that lie whole numbers of it apart, re full scale; 0 where there is none.

    rounded: how far rounding may move a level.
    """
    if _is_between_levels(shares, rounded):
        return 0.0
    ordered = np.sort(shares)
    apart = np.diff(ordered)
    gaps = apart > LEVEL * rounded
    if np.count_nonzero(gaps) < LEAST_LEVELS - 1:
        return 0.0
    least = float(apart[gaps].min())
    if least < CLEAR * rounded:
        return 0.0
    # Levels are the means of samples that rounding alone keeps apart.
    first = np.concatenate([[0], np.flatnonzero(gaps) + 1])
    levels = np.add.reduceat(ordered, first) / np.diff(np.append(first, len(ordered)))
    return _common_step(np.diff(levels), least, rounded)


def _is_between_levels(shares: Array, rounded: float) -> bool:
    """Whether two of the highest samples are farther apart than rounding leaves those of one level,
    and nearer than two levels are: then there is no lattice.

    Few samples tell that, as a wave is slow at its top, and many waves together are mostly near
    their middle; where they don't, all are looked at.
    """
    lowest, highest = float(shares.min()), float(shares.max())
    span = highest - lowest
    near_top = shares > highest - TOP * span
    return _holds_between(shares[near_top], rounded) or _holds_between(
        shares[np.abs(shares - (lowest + highest) / 2) < MIDDLE * span], rounded
    )


def _holds_between(some: Array, rounded: float) -> bool:
    """Whether two of the samples of a stretch of voltages, all there are in it, lie so."""
    some.sort()
    apart = some[1:] - some[:-1]
    return bool(((apart > LEVEL * rounded) & (apart < CLEAR * rounded)).any())


def _common_step(apart: Array, least: float, rounded: float) -> float:
    """The step that all distances are whole numbers of; 0 where some aren't."""
    step = least
    for most in (1.5, 4.0, 16.0, 64.0, math.inf):
        near = apart[apart < most * step]
        if not len(near):
            return 0.0
        counts = np.maximum(np.rint(near / step), 1.0)
        step = float(np.dot(counts, near) / np.dot(counts, counts))
    counts = np.rint(apart / step)
    off = np.abs(apart - counts * step)
    return step if bool(np.all(off <= np.maximum(2 * rounded, SAME * step))) else 0.0
