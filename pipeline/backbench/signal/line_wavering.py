"""What slow wavering of a line within a record takes from it, and puts beside it."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.signal.block_waves import turned_by
from backbench.signal.line_course import LineCourse
from backbench.signal.tone import ToneLines
from backbench.signal.track import Array
from backbench.signal.window import Complex, Window

SURELY = 2.0
"""Times what noise makes of a course, from which more of it is wavering."""

_kept: WeakKeyDictionary[LineCourse, dict[tuple[int, float, float], float]] = WeakKeyDictionary()


def wavering_outside(course: LineCourse, window: Window, half: float, density: float) -> float:
    """Share of a line's power that its own wavering puts outside its lobe.

    Parameters
    ----------
    course : LineCourse
        The line from block to block, the first of them.
    window : Window
        That the spectrum was made with.
    half : float
        Bins on each side that belong to the line, > 0.
    density : float
        Of the noise at the line, V^2/Hz.

    Returns
    -------
    float
        0 where it is no more than noise makes, and where the blocks are too long to tell.

    Notes
    -----
    What wavers faster than the blocks follow isn't in it. Kept as long as the course.
    """
    kept, key = _kept.setdefault(course, {}), (window.length, half, density)
    if key not in kept:
        kept[key] = _outside(course, window, half, density)
    return kept[key]


def _outside(course: LineCourse, window: Window, half: float, density: float) -> float:
    count, blocks = len(course.phasors), _at_blocks(window, len(course.phasors), course.length)
    # Bins n and count - n are as far from the line; the first n that is outside.
    first = math.floor(half * count * course.length / window.length) + 1
    outside = _turned_back(count, first) @ ((course.still - 1) * blocks.weights)
    power = float(np.vdot(outside, outside).real) / count / blocks.energy
    least = SURELY * _noise(course, density) * len(outside) / count
    return max(power - least, 0.0)


@lru_cache(maxsize=8)
def _turned_back(count: int, first: int) -> Complex:
    """What makes the bins of a transform of so many values, from the first to the last but so many,
    each a row."""
    bins = np.arange(first, max(count - first + 1, first))
    return turned_by(-2 * np.pi / count * (np.multiply.outer(bins, np.arange(count)) % count))


def lost_by_wavering(
    course: LineCourse, window: Window, orders: NDArray[np.int_], position: float, density: float
) -> Array:
    """Share of each harmonic's power by which the middle of its lobe is off, by wavering.

    Parameters
    ----------
    course : LineCourse
        The fundamental from block to block.
    window : Window
        That the spectrum was made with.
    orders : ndarray of int, shape (k,)
        Of the harmonics: their level goes with the fundamental's, their phase turns n times as far.
    position : float
        Of the fundamental, fractional bins.
    density : float
        Of the noise at the fundamental, V^2/Hz.

    Returns
    -------
    ndarray of float64, shape (k,)
        0 to 1; 0 where it is no more than noise makes.

    Notes
    -----
    The whole lobe of the fundamental weights its power by the square of the window, the middle of a
    lobe its amplitude by the window: a level that drifts gives two means, too.
    """
    times = orders[:, None].astype(float)
    return lost_of_products(course, window, times, np.array([position]), np.array([density]))


def lost_of_products(
    course: LineCourse, window: Window, products: Array, positions: Array, density: Array
) -> Array:
    """As lost_by_wavering, of the products of several tones.

    Parameters
    ----------
    course : LineCourse
        The tones from block to block, its first lines, re their frequencies as found.
    window : Window
        That the spectrum was made with.
    products : ndarray of float64, shape (k, tones)
        Multiples of each tone: the phase of a product turns with theirs, so many times.
    positions : ndarray of float64, shape (tones,)
        Of the tones, fractional bins.
    density : ndarray of float64, shape (tones,)
        Of the noise at each tone, V^2/Hz.

    Returns
    -------
    ndarray of float64, shape (k,)
        0 to 1; 0 where it is no more than noise makes.

    Notes
    -----
    A line is read at the bin nearest to it, as one that turns evenly.
    """
    count, usual = len(positions), course.usual_level[: len(positions)]
    if not usual.all():
        return np.zeros(len(products))
    blocks = _at_blocks(window, len(course.phasors), course.length)
    weights = np.empty((2, len(course.phasors), 1))
    weights[1, :, 0] = blocks.weights
    weights[0] = weights[1] * (course.level[:, :count] @ (1 / (count * usual)))[:, None]
    at = products @ positions
    at -= np.rint(at)
    # Of the lines as they are, and as they turn evenly.
    turns = np.empty((2, len(products), len(course.phasors)))
    np.multiply.outer(at, blocks.share, out=turns[1])
    np.matmul(products, course.phase[:, :count].T, out=turns[0])
    turns[0] += turns[1]
    seen, steady = np.square(np.cos(turns) @ weights) + np.square(np.sin(turns) @ weights)
    whole = np.square(weights[0]).sum() / blocks.energy
    noise = np.square(products) @ (2 * density / course.block_s / np.square(usual))
    lost = np.abs(1 - (seen / (steady * whole))[:, 0]) - SURELY * noise
    return np.asarray(np.minimum(np.maximum(lost, 0.0), 1.0))


def noise_density(lines: ToneLines) -> float:
    """Density of the noise at a tone, V^2/Hz.

    Parameters
    ----------
    lines : ToneLines
        The tone.

    Returns
    -------
    float
    """
    return float(lines.noise[round(lines.position)]) / lines.spectrum.resolution_hz


class _AtBlocks(NamedTuple):
    """The window at the middle of each block, the sum of its squares there, and how far a line one
    bin off has turned there, rad."""

    weights: Array
    energy: float
    share: Array


@lru_cache(maxsize=8)
def _at_blocks(window: Window, count: int, length: int) -> _AtBlocks:
    """For so many blocks of so many samples; kept, as all tracks of a record have the same."""
    middles = (np.arange(count) + 0.5) * length
    weights = window.samples[np.minimum(middles.astype(int), window.length - 1)]
    share = np.asarray(middles * (2 * np.pi / window.length))
    return _AtBlocks(weights, float(weights @ weights), share)


def _noise(course: LineCourse, density: float) -> float:
    """Mean square that noise makes of a block's phasor, re the line's."""
    amplitude = float(np.mean(course.level[:, 0]))
    return 2 * density / course.block_s / amplitude**2 if amplitude > 0 else 0.0


def wavering_of_each(course: LineCourse) -> Array:
    """Mean square by which each line is off one level and even turning, re its own.

    Parameters
    ----------
    course : LineCourse
        The lines by block.

    Returns
    -------
    ndarray of float64, shape (lines,)
        >= 0; that of the first is course.wavering.
    """
    blocks, phase = len(course.level), course.phase
    at, even = np.arange(blocks) - (blocks - 1) / 2, phase - phase.mean(axis=0)
    turning = even - np.multiply.outer(at, at @ even / max(float(at @ at), 1.0))
    level = course.level / course.level.mean(axis=0)
    off = (level - 1) ** 2 + 4 * level * np.sin(turning / 2) ** 2
    return np.asarray(off.mean(axis=0))
