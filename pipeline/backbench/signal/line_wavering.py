"""What slow wavering of a line within a record takes from it, and puts beside it."""

from __future__ import annotations

import math
from functools import lru_cache
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from backbench.signal.line_course import LineCourse
from backbench.signal.tone import ToneLines
from backbench.signal.track import Array
from backbench.signal.window import Complex

SURELY = 2.0
"""Times what noise makes of a course, from which more of it is wavering."""

_kept: WeakKeyDictionary[LineCourse, dict[tuple[int, float, float], float]] = WeakKeyDictionary()


def wavering_outside(course: LineCourse, weights: Array, half: float, density: float) -> float:
    """Share of a line's power that its own wavering puts outside its lobe.

    Parameters
    ----------
    course : LineCourse
        The line from block to block, the first of them.
    weights : ndarray of float64, shape (n,)
        Of the window that the spectrum was made with.
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
    kept, key = _kept.setdefault(course, {}), (len(weights), half, density)
    if key not in kept:
        kept[key] = _outside(course, weights, half, density)
    return kept[key]


def _outside(course: LineCourse, weights: Array, half: float, density: float) -> float:
    still, window = course.still, _at_blocks(course, weights)
    count = len(still)
    # Bins n and count - n are as far from the line; the first n that is outside.
    first = math.floor(half * _covered(course) / len(weights)) + 1
    # Of so few blocks a product is quicker than a fast transform.
    outside = _transform(count)[first : count - first + 1] @ ((still - 1) * window)
    power = float(np.vdot(outside, outside).real) / count / float(window @ window)
    least = SURELY * _noise(course, density) * len(outside) / count
    return max(power - least, 0.0)


@lru_cache(maxsize=4)
def _transform(count: int) -> Complex:
    """The discrete Fourier transform of so many values, as a table to multiply them with."""
    places = np.arange(count)
    table: Complex = np.exp(-2j * np.pi / count * (np.multiply.outer(places, places) % count))
    table.setflags(write=False)
    return table


def lost_by_wavering(
    course: LineCourse, weights: Array, orders: NDArray[np.int_], position: float, density: float
) -> Array:
    """Share of each harmonic's power by which the middle of its lobe is off, by wavering.

    Parameters
    ----------
    course : LineCourse
        The fundamental from block to block.
    weights : ndarray of float64, shape (n,)
        Of the window that the spectrum was made with.
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
    times = np.asarray(orders, dtype=float)
    return lost_of_products(course, weights, times[:, None], np.array([position]),
                            np.array([density]))  # fmt: skip


def lost_of_products(
    course: LineCourse, weights: Array, products: Array, positions: Array, density: Array
) -> Array:
    """As lost_by_wavering, of the products of several tones.

    Parameters
    ----------
    course : LineCourse
        The tones from block to block, its first lines, re their frequencies as found.
    weights : ndarray of float64, shape (n,)
        Of the window that the spectrum was made with.
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
    count = len(positions)
    window, usual = _at_blocks(course, weights), course.usual_level[:count]
    if not np.all(usual > 0):
        return np.zeros(len(products))
    level = course.level[:, :count] @ (1 / (count * usual))
    turns = products @ course.phase[:, :count].T
    at = products @ positions
    share = (np.arange(len(window)) + 0.5) * (2 * np.pi * course.length / len(weights))
    even = np.multiply.outer(at - np.rint(at), share)
    turns += even
    weighted = window * level
    # Squared magnitudes of what is read of the lines as they are, and as they turn evenly.
    seen = np.square(np.cos(turns) @ weighted) + np.square(np.sin(turns) @ weighted)
    steady = np.square(np.cos(even) @ window) + np.square(np.sin(even) @ window)
    whole = float(weighted @ weighted) / float(window @ window)
    noise = np.square(products) @ (2 * density / course.block_s / np.square(usual))
    lost = np.abs(1 - seen / (steady * whole)) - SURELY * noise
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


def _covered(course: LineCourse) -> int:
    """Samples that the blocks hold."""
    return len(course.phasors) * course.length


def _at_blocks(course: LineCourse, weights: Array) -> Array:
    """The window at the middle of each block."""
    middles = ((np.arange(len(course.phasors)) + 0.5) * course.length).astype(int)
    return np.asarray(weights[np.minimum(middles, len(weights) - 1)])


def _noise(course: LineCourse, density: float) -> float:
    """Mean square that noise makes of a block's phasor, re the line's."""
    amplitude = float(np.mean(course.level[:, 0]))
    return 2 * density / course.block_s / amplitude**2 if amplitude > 0 else 0.0
