"""The quasi-peak meter of Rec. ITU-R BS.468-4, clause 2: a follower with an inert needle."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache, lru_cache

import numpy as np

from backbench.signal.charged_voltage import (
    HeldLevels,
    HeldVoltage,
    SampleIndices,
    charge_stretch,
    charged,
    follow,
    level_weights,
    longest_stretch,
    stretches_of,
    sums_of_fall,
)
from backbench.signal.track import Array

NEEDLE_S = 140e-3
"""Time constant of the needle, from the same source as those of the detector."""
NEEDLE_EVERY = 16
"""Samples between two places of the needle that are reckoned: it lags by thousands of them."""
SETTLED = 1e-6
"""Relative difference of two starts' voltages below which they go on as one."""
BEFORE_S = 1.5
"""Part of a record that is played before it: five of the detector's longest time constant."""
HIGHEST_EVERY_S, LEAST_BLOCKS = 0.5, 4


Gains = Callable[[HeldLevels], Array]
"""Of a stretch, what the needle has gained after each level, re what is left of it."""


def needle(held: HeldVoltage, start: float = 0.0, gains: Gains | None = None) -> Array:
    """Where the meter's needle stands from time to time: the voltage behind a lag of 140 ms.

    Parameters
    ----------
    held : HeldVoltage
        The capacitor's voltage, V.
    start : float, optional
        Where the needle stands before, V.
    gains : callable, optional
        See gains_of; where stretches were asked of it before.

    Returns
    -------
    ndarray of float64, shape (m,)
        V, after every 16th sample and after the last.

    Notes
    -----
    Between two samples that charge the capacitor its voltage falls evenly, and what the needle
    gains of it is known in closed form.

    References
    ----------
    Rec. ITU-R BS.468-4, clause 2; see follow.
    """
    left, sums = _of_needle(held)
    gains = gains or gains_of(held)
    shown, first = [], 0
    for stretch in held.stretches:
        edges, gained = stretch.edges, gains(stretch)
        ends = np.arange(-(first + 1) % NEEDLE_EVERY, stretch.samples, NEEDLE_EVERY)
        level = _charges_up_to(stretch.places, ends)
        more = stretch.levels[level] * (sums[edges[level + 1]] - sums[ends + 1])
        shown.append((start + gained[level] - more) * left[ends])
        start = (start + float(gained[-1])) * float(left[stretch.samples - 1])
        first += stretch.samples
    if first % NEEDLE_EVERY:
        shown.append(np.array([start]))
    return np.concatenate(shown)


def _at_rest(held: HeldVoltage, gains: Gains) -> float:
    """Where the needle stands before a course that comes again and again, V."""
    left, _ = _of_needle(held)
    gained, kept = 0.0, 1.0
    for stretch in held.stretches:
        falls = float(left[stretch.samples - 1])
        gained = (gained + float(gains(stretch)[-1])) * falls
        kept *= falls
    return gained / (1 - kept)


def _of_needle(held: HeldVoltage) -> tuple[Array, Array]:
    """What is left of where the needle stood, after each sample of a stretch, and what it gains."""
    block, rate_hz = longest_stretch(held.rate_hz), held.rate_hz
    left, _ = level_weights(block, NEEDLE_S * rate_hz)
    return left, sums_of_fall(block, rate_hz, held.times[1], NEEDLE_S)


def gains_of(held: HeldVoltage) -> Gains:
    """What the needle gains in stretches of a course, reckoned once for each.

    Parameters
    ----------
    held : HeldVoltage
        The course, or one of its rate and time constants.

    Returns
    -------
    callable
        Gives, for a stretch with k levels, an array of shape (k,), V.
    """
    _, sums = _of_needle(held)

    @cache
    def gains(stretch: HeldLevels) -> Array:
        at = sums[stretch.edges]
        each: Array = at[1:] - at[:-1]
        each *= stretch.levels
        return np.cumsum(each, out=each)

    return gains


def _charges_up_to(places: SampleIndices, ends: SampleIndices) -> SampleIndices:
    """How many of some places, rising, each of some evenly spaced samples has behind it."""
    if not len(ends):
        return ends
    next_end = np.maximum(-((ends[0] - places) // NEEDLE_EVERY), 0)
    return np.cumsum(np.bincount(next_end, minlength=len(ends)))[: len(ends)]


@lru_cache(maxsize=8)
def of_sine(rate_hz: float) -> float:
    """Needle for a steady sine of 1 V rms: by its inverse the meter reads the rms of a sine.

    Parameters
    ----------
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    float
        V, at 1 kHz.
    """
    hz = 1000.0
    t = np.arange(round(0.2 * rate_hz)) / rate_hz
    sine = math.sqrt(2) * np.abs(np.sin(2 * np.pi * hz * t + 0.1))
    settled = follow(sine, rate_hz, start=1.0)
    return float(settled[len(settled) // 2 :].mean())


def needle_course(rectified: Array, rate_hz: float) -> tuple[Array, float]:
    """Where the needle stands all along a record, from time to time.

    Parameters
    ----------
    rectified : ndarray of float64, shape (n,)
        Magnitude of the signal, >= 0.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    course : ndarray of float64, shape (m,)
        In the unit of `rectified`.
    course_rate_hz : float
        Places a second.

    Notes
    -----
    The record's end charges the detector once before it, and the needle stands where it would if
    the record came again and again: it reads the same wherever in it the capture began.

    References
    ----------
    Rec. ITU-R BS.468-4, clause 2; see follow.
    """
    before = rectified[-round(BEFORE_S * rate_hz) :]
    mean = float(rectified.mean())
    held = charged(before, rate_hz, mean)
    if len(before) == len(rectified):
        held = _once_more(rectified, held, mean)
    else:
        held = charged(rectified, rate_hz, held.last)
    gains = gains_of(held)
    return needle(held, _at_rest(held, gains), gains), rate_hz / NEEDLE_EVERY


def _once_more(rectified: Array, course: HeldVoltage, begun: float) -> HeldVoltage:
    """Follow a record anew from where its course ended, until that goes on as it did before.

    course: of the record, from the voltage `begun`.
    """
    start, anew = course.last, list(course.stretches)
    # From a higher start the voltage is higher all along: what didn't charge it doesn't now.
    higher = start >= begun
    for n, (first, stop) in enumerate(stretches_of(len(rectified), course.rate_hz)):
        before = course.at_end(anew[n])
        likely = anew[n].places if higher else None
        anew[n] = charge_stretch(rectified[first:stop], course.rate_hz, start, course.times, likely)
        start = course.at_end(anew[n])
        if abs(start - before) <= SETTLED * before:
            break
    return HeldVoltage(anew, course.rate_hz, course.times)


def highest(course: Array, rate_hz: float) -> tuple[float, float, int]:
    """Highest place of the needle, its standard uncertainty, and its degrees of freedom.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        Where the needle stands, n >= 4.
    rate_hz : float
        Sample rate, Hz.

    Returns
    -------
    value : float
        In the unit of the course.
    u : float
        Standard uncertainty, in the same unit.
    dof : int
        Degrees of freedom, >= 3.

    Notes
    -----
    From the highest place in each segment of half a second, at least four of them: what comes
    again and again reads alike in each, and what came once may come stronger another time.
    """
    blocks = max(LEAST_BLOCKS, int(len(course) / (HIGHEST_EVERY_S * rate_hz)))
    length = len(course) // blocks
    each = course[: blocks * length].reshape(blocks, length).max(axis=1)
    return float(course.max()), float(each.std(ddof=1)), blocks - 1


def block_error(course: Array, rate_hz: float, block_s: float = 0.1) -> tuple[float, int]:
    """Standard uncertainty of the mean of a fluctuating course, and its degrees of freedom.

    Parameters
    ----------
    course : ndarray of float64, shape (n,)
        In any unit, n >= 4.
    rate_hz : float
        Sample rate, Hz.
    block_s : float, optional
        Duration of a block, s, long enough for blocks to be independent of each other.

    Returns
    -------
    u : float
        In the unit of the course.
    dof : int
        Degrees of freedom: blocks, at least four, less one.
    """
    blocks = max(4, int(len(course) / (block_s * rate_hz)))
    length = len(course) // blocks
    means = course[: blocks * length].reshape(blocks, length).mean(axis=1)
    return float(means.std(ddof=1)) / math.sqrt(blocks), blocks - 1
