"""The delay of a response along a sweep, and whether the time of the record wandered meanwhile.

A sweep turns time into frequency: where the speed of player or recorder is off by a share s, the
sweep passes a band so much faster or slower, and the level reads s / 2 off there. The same speed
makes the delay change by s in each second. What filters make of a delay is smooth in frequency;
what is left beside that is speed.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from backbench.signal.sweep_deconvolved import Deconvolved
from backbench.signal.sweep_excitation import PlayedSweep
from backbench.signal.sweep_window import SweepParameters
from backbench.signal.track import Array

FLANK = 0.04
"""Width of the stretch in which the delay is read, re the frequency."""
LEAST_FLANK = 8
LEAST_CLEAR = 0.05
"""Greatest relative uncertainty of a response whose delay is looked at."""
SMOOTH_ABOVE_HZ = 700.0
PART_S = 0.02
LEAST_PARTS = 12
FILTER_POWERS = (0, -1, -2, 1, 2, 3)
"""Powers of frequency whose sum follows the delay of the filters of an amplifier above that
frequency: what is left of it then makes less than 0.0001 dB (found by simulation)."""


class PhaseCourse(NamedTuple):
    """Phase of a response at evenly spaced frequencies.

    Parameters
    ----------
    hz : ndarray of float64, shape (n,)
        Hz.
    phase : ndarray of float64, shape (n,)
        rad, continuous.
    """

    hz: Array
    phase: Array


class Delays(NamedTuple):
    """Delay of a response re its arrival.

    Parameters
    ----------
    hz : ndarray of float64, shape (k,)
        Hz, middle of each stretch.
    first_hz : ndarray of float64, shape (k,)
        Hz, where each stretch begins.
    seconds : ndarray of float64, shape (k,)
        s.
    """

    hz: Array
    first_hz: Array
    seconds: Array


def phase_course(sent: PlayedSweep, deconvolved: Deconvolved, above_hz: float) -> PhaseCourse:
    """The longest upper stretch of a response that is clear of noise, by resolution cell.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    deconvolved : Deconvolved
        What came of it.
    above_hz : float
        Lowest frequency that is wanted, Hz.

    Returns
    -------
    PhaseCourse
    """
    noise = deconvolved.noise / np.abs(deconvolved.ratio)
    step = max(sent.window.size // len(sent.window.weights), 1)
    cell = sent.own_rate_hz / sent.window.size
    chosen = slice(math.ceil(max(above_hz, sent.grid[0]) / cell), int(sent.grid[-1] / cell), step)
    hz, values = np.arange(chosen.start, chosen.stop, step) * cell, deconvolved.spectrum[chosen]
    clear = values != 0
    if noise.max() >= LEAST_CLEAR:
        clear &= np.interp(hz, sent.grid, noise) < LEAST_CLEAR
    edges = np.concatenate([[-1], np.flatnonzero(~clear), [len(hz)]])
    widest = int(np.argmax(np.diff(edges)))
    part = slice(int(edges[widest]) + 1, int(edges[widest + 1]))
    return PhaseCourse(hz[part], _going_on(np.angle(values[part])))


def _going_on(phase: Array) -> Array:
    """A phase without jumps by whole turns."""
    turns = np.rint(np.diff(phase) / (2 * math.pi))
    phase[1:] -= 2 * math.pi * np.cumsum(turns)
    return phase


def delays(course: PhaseCourse) -> Delays:
    """Delay along a course, each from a straight line through a short stretch of the phase.

    Parameters
    ----------
    course : PhaseCourse
        At least 16 frequencies.

    Returns
    -------
    Delays
        Empty where no stretch fits.
    """
    cell = float(course.hz[1] - course.hz[0])
    stretches = _stretches(float(course.hz[0]), cell, len(course.hz))
    slopes = _slopes(course.phase, stretches.first, stretches.length)
    return Delays(stretches.centre_hz, stretches.first_hz, -slopes / (2 * np.pi * cell))


class _Stretches(NamedTuple):
    """First place of each stretch in which a delay is read, how many it has, and the
    frequencies of its middle and of its first, Hz."""

    first: NDArray[np.int_]
    length: NDArray[np.int_]
    centre_hz: Array
    first_hz: Array


@lru_cache(maxsize=8)
def _stretches(lowest_hz: float, cell: float, places: int) -> _Stretches:
    """Kept, because they are the same for every clear record of a sweep."""
    first = np.arange(0, places, LEAST_FLANK)
    first_hz = lowest_hz + cell * first
    count = np.maximum(LEAST_FLANK, np.rint(FLANK * first_hz / cell)).astype(int)
    within = first + count < places
    first, count, first_hz = first[within], count[within], first_hz[within]
    return _Stretches(first, count, lowest_hz + cell * (first + (count - 1) / 2), first_hz)


def _slopes(values: Array, first: NDArray[np.int_], count: NDArray[np.int_]) -> Array:
    """Slopes of straight lines by least squares through `count` values from each `first` on."""
    sums = np.concatenate([[0], np.cumsum(values)])
    moments = np.concatenate([[0], np.cumsum(values * np.arange(len(values)))])
    whole = sums[first + count] - sums[first]
    centre = first + (count - 1) / 2
    moment = moments[first + count] - moments[first] - centre * whole
    return np.asarray(12 * moment / (count * (count**2 - 1.0)))


def speed_error(sent: PlayedSweep, deconvolved: Deconvolved) -> float:
    """What speed that wanders makes of the level, relative standard uncertainty.

    Parameters
    ----------
    sent : PlayedSweep
        What was played.
    deconvolved : Deconvolved
        What came of it.

    Returns
    -------
    float
        Of the level at one frequency re that at another; 0 for a sweep too short to tell.
    """
    course = phase_course(sent, deconvolved, SMOOTH_ABOVE_HZ)
    if len(course.hz) < 2 * LEAST_FLANK:
        return 0.0
    read = delays(course)
    parts = _parts(read.hz.tobytes(), sent.sweep)
    if parts is None:
        return 0.0
    late = np.bincount(parts.part, read.seconds)[parts.held] / parts.holding
    left = late - parts.filters @ (parts.filters.T @ late)
    speed = np.diff(left) / parts.apart_s
    # Half of it at each of the two frequencies.
    return float(np.sqrt(np.mean(speed**2) / 2))


class _Parts(NamedTuple):
    """Parts of a sweep in which delays are averaged.

    part: of each delay. held: parts that hold one, and holding how many. apart_s: from one of these
    to the next, s. filters: what the delay of filters is a sum of in them, orthonormal columns.
    """

    part: NDArray[np.int_]
    held: NDArray[np.intp]
    holding: NDArray[np.intp]
    apart_s: Array
    filters: Array


@lru_cache(maxsize=8)
def _parts(hz: bytes, sweep: SweepParameters) -> _Parts | None:
    """None where it is too short. hz: of the delays, float64. Kept, because they are the same for
    every clear record of a sweep."""
    at_hz = np.frombuffer(hz)
    passed = sweep.scale_s * np.log(at_hz / sweep.start_hz)
    if not len(passed) or passed[-1] - passed[0] < LEAST_PARTS * PART_S:
        return None
    part = ((passed - passed[0]) / PART_S).astype(int)
    each = np.bincount(part)
    held = np.flatnonzero(each)
    middle_hz, middle_s = (np.bincount(part, x)[held] / each[held] for x in (at_hz, passed))
    scaled = middle_hz / math.sqrt(middle_hz[0] * middle_hz[-1])
    terms = np.stack([scaled**power for power in FILTER_POWERS], axis=1)
    filters = np.asarray(np.linalg.qr(terms).Q)
    return _Parts(part, held, each[held], np.diff(middle_s), filters)
